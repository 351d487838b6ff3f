//! Number formats: what an XLSX cell shows, where its format alone tells that. The sign between thousands, names of months and
//! the order of a date follow the language of the computer, which the file does not hold. So does the sign before decimals: it
//! is a point here, as in numbers without a format.

use calamine::ExcelDateTime;

/// The most digits that a format of zeros may ask for: a member's number has no more, and writing them has a bound.
const MOST_DIGITS: usize = 30;

/// The format of cells that were given none.
pub const GENERAL: &str = "General";

/// What a number shows; `None` where that is not certain.
pub fn number(value: f64, format: &str) -> Option<String> {
    if format == GENERAL || format == "@" {
        return Some(plain(value));
    }
    let (format, value, sign) = match format.strip_suffix('%') {
        Some(format) => (format, 100.0 * value, "%"),
        None => (format, value, ""),
    };
    let (format, in_thousands) = match format.strip_prefix("#,##") {
        Some(format) => (format, true),
        None => (format, false),
    };
    let (whole, decimals) = format.split_once('.').unwrap_or((format, "0"));
    let zeros = |part: &str| (1..=MOST_DIGITS).contains(&part.len()) && part.bytes().all(|b| b == b'0');
    if !zeros(whole) || !zeros(decimals) {
        return None;
    }
    let places = if format.contains('.') { decimals.len() } else { 0 };
    let shown = rounded(value, places)?;
    let (digits, decimals) = shown.split_at(shown.find('.').unwrap_or(shown.len()));
    // From four digits on the sign between thousands would have to be known: 1.200 is twelve hundred or one and a fifth.
    if in_thousands && (digits.len() > 3 || whole != "0") {
        return None;
    }
    // A format of more zeros than a number has digits is a member's number: 007.
    Some(format!("{digits:0>width$}{decimals}{sign}", width = whole.len()))
}

/// A number with so many decimals behind a point, as one without a format has it, rounded as a spreadsheet does: by its
/// decimal digits, a half away from zero. `None` for one below zero, or with more digits than are kept.
fn rounded(value: f64, places: usize) -> Option<String> {
    if !(0.0..1e15).contains(&value) {
        return None;
    }
    // Of the digits that a spreadsheet keeps: 1.005 is a little less to a computer.
    let all = plain(value);
    let (whole, behind) = all.split_once('.').unwrap_or((&all, ""));
    let kept = format!("{whole}{:0<places$}", &behind[..behind.len().min(places)]);
    let up = behind.as_bytes().get(places).is_some_and(|digit| *digit >= b'5');
    let all = kept.parse::<u128>().ok()? + u128::from(up);
    let all = format!("{all:0>width$}", width = places + 1);
    let (whole, behind) = all.split_at(all.len() - places);
    Some(if places == 0 { whole.to_string() } else { format!("{whole}.{behind}") })
}

/// A number without a format: no decimals where there are none, and no more digits than a spreadsheet keeps.
pub fn plain(value: f64) -> String {
    if value.fract() == 0.0 && value.abs() < 1e15 {
        return format!("{value:.0}");
    }
    // 0.1 + 0.2 is 0.30000000000000004 to a computer and 0.3 to a spreadsheet.
    format!("{value:.14e}").parse::<f64>().unwrap_or(value).to_string()
}

/// What a date or a time of the day shows; `None` where that is not certain.
pub fn moment(at: &ExcelDateTime, format: &str) -> Option<String> {
    if at.is_duration() {
        return None;
    }
    let format = format.replace('\\', "").to_lowercase();
    let format = format.strip_suffix(";@").unwrap_or(&format);
    // A language in front changes names, and these have none: `[$-409]yyyy-mm-dd`.
    let format = match format.strip_prefix("[$-").and_then(|rest| rest.split_once(']')) {
        Some((_, rest)) => rest,
        None => format,
    };
    let (year, month, day, hour, minute, second, _) = at.to_ymd_hms_milli();
    let parts = format.split(' ').map(|part| match part {
        "yyyy-mm-dd" => Some(format!("{year:04}-{month:02}-{day:02}")),
        "h:mm" => Some(format!("{hour}:{minute:02}")),
        "hh:mm" => Some(format!("{hour:02}:{minute:02}")),
        "h:mm:ss" => Some(format!("{hour}:{minute:02}:{second:02}")),
        "hh:mm:ss" => Some(format!("{hour:02}:{minute:02}:{second:02}")),
        _ => None,
    });
    Some(parts.collect::<Option<Vec<_>>>()?.join(" "))
}

/// A date or time as ISO has it, for a person who looks at the table: `2025-03-04`, `10:30`.
pub fn iso(at: &ExcelDateTime) -> String {
    let (year, month, day, hour, minute, second, _) = at.to_ymd_hms_milli();
    let date = format!("{year:04}-{month:02}-{day:02}");
    let time = if second == 0 {
        format!("{hour:02}:{minute:02}")
    } else {
        format!("{hour:02}:{minute:02}:{second:02}")
    };
    match at.as_f64() {
        v if v.fract() == 0.0 => date,
        v if v < 1.0 => time,
        _ => format!("{date} {time}"),
    }
}

#[cfg(test)]
mod tests {
    use calamine::ExcelDateTimeType;

    use super::*;

    #[test]
    fn a_number_shows_what_its_format_makes_of_it_or_is_not_told() {
        for (value, format, shown) in [
            (7.0, "General", Some("7")),
            (12.5, "General", Some("12.5")),
            (0.1 + 0.2, "General", Some("0.3")),
            (4_912_345_678_901.0, "@", Some("4912345678901")),
            (7.0, "000", Some("007")),
            (1234.0, "000", Some("1234")),
            (7.4, "0", Some("7")),
            (12.0, "0", Some("12")),
            (-7.0, "000", None),
            (0.25, "0%", Some("25%")),
            (0.07, "0%", Some("7%")),
            (0.255, "0%", Some("26%")),
            (0.145, "0%", Some("15%")),
            (0.125, "0.00%", Some("12.50%")),
            (12.5, "0.00", Some("12.50")),
            (0.5, "0.00", Some("0.50")),
            (0.004, "0.00", Some("0.00")),
            (3.0, "0.00", Some("3.00")),
            (1.005, "0.00", Some("1.01")),
            (9.995, "0.00", Some("10.00")),
            (2.5, "00.0", Some("02.5")),
            (-12.5, "0.00", None),
            (1e15, "0.00", None),
            (12.5, "0.0.0", None),
            (12.5, "0.", None),
            (12.5, "%", None),
            (12.5, "0.0?", None),
            (12.5, "0.00 \"EUR\"", None),
            (999.0, "#,##0", Some("999")),
            (999.5, "#,##0.00", Some("999.50")),
            (999.5, "#,##0", None),
            (1200.0, "#,##0", None),
            (1200.5, "#,##0.00", None),
            (7.0, "#,##000", None),
            (7.0, &"0".repeat(70_000), None),
        ] {
            assert_eq!(number(value, format).as_deref(), shown, "{value} {format}");
        }
    }

    #[test]
    fn a_date_shows_what_its_format_makes_of_it_or_is_not_told() {
        let at = |v: f64| ExcelDateTime::new(v, ExcelDateTimeType::DateTime, false);
        for (value, format, shown) in [
            (45720.0, "yyyy-mm-dd", Some("2025-03-04")),
            (45720.0, "[$-409]yyyy\\-mm\\-dd;@", Some("2025-03-04")),
            (45720.4375, "yyyy-mm-dd hh:mm", Some("2025-03-04 10:30")),
            (0.4375, "h:mm", Some("10:30")),
            (0.4375, "h:mm:ss", Some("10:30:00")),
            (0.4375, "h:mm AM/PM", None),
            (45720.0, "mm-dd-yy", None),
            (45720.0, "d-mmm-yy", None),
        ] {
            assert_eq!(moment(&at(value), format).as_deref(), shown, "{value} {format}");
        }
        assert_eq!(iso(&at(45720.0)), "2025-03-04");
        assert_eq!(iso(&at(0.4375)), "10:30");
        let long = ExcelDateTime::new(1.5, ExcelDateTimeType::TimeDelta, false);
        assert_eq!(moment(&long, "h:mm"), None);
    }
}
