//! Entities: how long a text becomes once each `&name;` is replaced by what it stands for.
//!
//! An entity of a megabyte, named a thousand times, is a gigabyte out of a megabyte; entities made of
//! entities do the same out of a kilobyte.

use std::collections::HashMap;

/// The length in bytes of the text with its entities replaced; `None` where an entity is made of itself.
pub(super) fn expanded(text: &str) -> Option<u64> {
    let mut values: HashMap<&str, &str> = HashMap::new();
    let mut rest = text;
    while let Some((_, after)) = rest.split_once("<!ENTITY") {
        rest = after;
        let after = after.trim_start();
        let Some((name, value)) = after.split_once(|c: char| c.is_ascii_whitespace()) else { continue };
        let value = value.trim_start();
        let Some(quote) = value.chars().next().filter(|q| matches!(q, '"' | '\'')) else { continue };
        if let Some((value, _)) = value[1..].split_once(quote) {
            // The first declaration of a name counts (XML 1.0, 4.2).
            values.entry(name).or_insert(value);
        }
    }
    if values.is_empty() {
        return Some(text.len() as u64);
    }
    let mut lengths: HashMap<&str, u64> = HashMap::new();
    for name in values.keys() {
        length(name, &values, &mut lengths, 0)?;
    }
    Some(
        references(text)
            .map(|n| lengths.get(n).copied().unwrap_or(0))
            .fold(text.len() as u64, u64::saturating_add),
    )
}

/// Deepest entities in entities that are counted; the parser refuses deeper ones than ten.
const DEEPEST: u32 = 32;

/// The length of what an entity stands for.
fn length<'a>(
    name: &'a str,
    values: &HashMap<&'a str, &'a str>,
    lengths: &mut HashMap<&'a str, u64>,
    depth: u32,
) -> Option<u64> {
    if let Some(&known) = lengths.get(name) {
        return Some(known);
    }
    if depth > DEEPEST {
        return None;
    }
    let Some(&value) = values.get(name) else { return Some(0) };
    let mut sum = value.len() as u64;
    for inner in references(value) {
        sum = sum.saturating_add(length(inner, values, lengths, depth + 1)?);
    }
    lengths.insert(name, sum);
    Some(sum)
}

/// The names that a text refers to.
fn references(text: &str) -> impl Iterator<Item = &str> {
    text.split('&').skip(1).filter_map(|after| after.split_once(';')).map(|(name, _)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entities_are_counted_as_long_as_what_they_stand_for() {
        let plain = "<svg>&amp; &lt;</svg>";
        assert_eq!(expanded(plain), Some(plain.len() as u64));
        let ten = "<!DOCTYPE svg [<!ENTITY a 'ahoy, sea!'><!ENTITY b \"&a;&a;\">]><svg>&b;&b;&a;</svg>";
        // `&b;` stands for six characters of its own and two tens: 26; twice that and ten more. The two names in
        // the declaration of `b` are counted as well.
        assert_eq!(expanded(ten), Some(ten.len() as u64 + 26 + 26 + 10 + 20));
    }

    #[test]
    fn entities_that_multiply_or_name_themselves_are_seen() {
        let mut laughs = "<!ENTITY a0 'ha'>".to_string();
        for i in 1..20 {
            laughs += &format!("<!ENTITY a{i} '{}'>", format!("&a{};", i - 1).repeat(10));
        }
        assert!(expanded(&format!("{laughs}&a19;")).unwrap() > 1 << 60);
        assert_eq!(expanded("<!ENTITY a '&b;'><!ENTITY b '&a;'>&a;"), None);
    }
}
