//! Pages: one HTML file from a template, in the one style that all pages share, with everything escaped.

use std::fmt::Display;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use minijinja::value::Kwargs;
use minijinja::{Environment, HtmlEscape, Value};

use super::canvas::ProofError;
use crate::texts;
use crate::units::short;

/// What all pages have in common: head, style and print. A page's template extends `page.html` and fills its blocks
/// `title`, `style` and `body`.
const PAGE: &str = include_str!("page.html");

/// What pages to print and to work from have in common: it extends `page.html`, and has the blocks `own_style`,
/// `beside` (the steps) and `more` (for the screen alone); see [`super::sheet::Sheet`].
const SHEET: &str = include_str!("sheet.html");

/// Fills the template with `values`.
///
/// # Errors
/// When the template does not fit the values.
pub fn fill(name: &'static str, template: &'static str, values: Value) -> Result<String, ProofError> {
    let fail = |e: minijinja::Error| ProofError::Page(e.to_string());
    let mut env = Environment::new();
    env.set_undefined_behavior(minijinja::UndefinedBehavior::Strict);
    env.add_filter("short", |v: f64, decimals: usize| short(v, decimals));
    env.add_filter("whole", |v: f64| grouped(v.round() as i64));
    env.add_filter("size", |v: f64| size(v));
    env.add_filter("duration", |v: f64| crate::units::duration(v));
    env.add_filter("sentence", |v: String| sentence(&v));
    env.add_function("say", said);
    env.add_global("lang", texts::say("page.lang"));
    env.add_global("from_right", texts::is_from_right());
    env.add_template("page.html", PAGE).map_err(fail)?;
    env.add_template("sheet.html", SHEET).map_err(fail)?;
    env.add_template(name, template).map_err(fail)?;
    env.get_template(name).and_then(|t| t.render(values)).map_err(fail)
}

/// A text of the pages, by its key, with its values: `say("tray", number=t.number)`. Both are escaped; of words only what markup begins with, so that a translation cannot become markup.
fn said(key: &str, values: Kwargs) -> Result<Value, minijinja::Error> {
    let safe = |v: Value| if v.is_safe() { v.to_string() } else { HtmlEscape(&v.to_string()).to_string() };
    let named = |name| Ok((name, safe(values.get(name)?)));
    let filling = values.args().map(named).collect::<Result<Vec<(&str, String)>, minijinja::Error>>()?;
    let filling: Vec<(&str, &dyn Display)> = filling.iter().map(|(name, v)| (*name, v as _)).collect();
    let key = format!("proof.page.{key}");
    let words = texts::say(&key).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    Ok(Value::from_safe_string(texts::fill(&words, &filling)))
}

/// A PNG as a data URI.
pub fn data_uri(png: &[u8]) -> String {
    format!("data:image/png;base64,{}", STANDARD.encode(png))
}

/// `1234567` as `1 234 567`, with narrow spaces that do not break.
pub fn grouped(v: i64) -> String {
    let digits = v.unsigned_abs().to_string();
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    if v < 0 { format!("−{out}") } else { out }
}

/// Bytes in the unit that reads best (powers of 1000).
pub fn size(bytes: f64) -> String {
    match bytes {
        b if b < 1e3 => format!("{b:.0} B"),
        b if b < 1e6 => format!("{} kB", short(b / 1e3, 1)),
        b if b < 1e9 => format!("{} MB", short(b / 1e6, 1)),
        b => format!("{} GB", short(b / 1e9, 2)),
    }
}

/// The text with a capital at its start and a full stop at its end.
pub fn sentence(text: &str) -> String {
    let text = text.trim();
    let mut chars = text.chars();
    let first: String = chars.next().into_iter().flat_map(char::to_uppercase).collect();
    let end = if text.ends_with(['.', '!', '?']) || text.is_empty() { "" } else { "." };
    format!("{first}{}{end}", chars.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_for_people() {
        assert_eq!(grouped(1_034_289), "1\u{202f}034\u{202f}289");
        assert_eq!((grouped(999), grouped(-1000)), ("999".into(), "−1\u{202f}000".into()));
        assert_eq!(
            (size(999.0), size(98_304.0), size(6_912_345.0)),
            ("999 B".into(), "98.3 kB".into(), "6.9 MB".into())
        );
        assert_eq!(sentence("a line is bent"), "A line is bent.");
    }

    #[test]
    fn what_a_value_holds_is_escaped_and_a_missing_value_is_an_error() {
        let page = fill("t.html", "<p>{{ name }}</p>", minijinja::context! { name => "<b>&" }).unwrap();
        assert_eq!(page, "<p>&lt;b&gt;&amp;</p>");
        assert!(fill("t.html", "{{ missing.part }}", minijinja::context! {}).is_err());
    }

    #[test]
    fn a_page_fills_the_blocks_of_the_shared_one() {
        let own = r#"{% extends "page.html" %}{% block title %}{{ name }}{% endblock %}{% block body %}<h1>{{ name }}</h1>{% endblock %}"#;
        let page = fill("own.html", own, minijinja::context! { name => "Rope & tar" }).unwrap();
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"), "{page}");
        assert!(page.contains("<title>Rope &amp; tar</title>") && page.contains("<h1>Rope &amp; tar</h1>"));
        assert!(page.contains("@media print") && !page.contains("{%"));
    }

    #[test]
    fn a_data_uri_is_base64() {
        // RFC 4648, section 10: "foobar".
        assert_eq!(data_uri(b"foobar"), "data:image/png;base64,Zm9vYmFy");
    }
}
