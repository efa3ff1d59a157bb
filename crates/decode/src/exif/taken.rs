//! Exif date, sub-seconds and offset to RFC 3339.

use jiff::civil::DateTime;

/// `"2024:03:09 06:41:07"`, `"25"`, `"+01:00"` become `2024-03-09T06:41:07.25+01:00`. Without an offset the time is the
/// camera's local time and carries no suffix. `None` for dates that no calendar has.
pub(super) fn rfc3339(date: &str, sub_seconds: Option<&str>, offset: Option<&str>) -> Option<String> {
    let parts: Vec<&str> = date.trim().split([':', ' ', '-', 'T']).filter(|p| !p.is_empty()).collect();
    let [year, month, day, hour, minute, second, ..] = parts[..] else { return None };
    // Some writers put the sub-seconds and the offset behind the seconds.
    let second = second.get(..2)?;
    let (year, month, day) = (year.parse().ok()?, month.parse().ok()?, day.parse().ok()?);
    let (hour, minute, second) = (hour.parse().ok()?, minute.parse().ok()?, second.parse().ok()?);
    if year < 1826 {
        return None; // before photography: a clock that was never set
    }
    let time = DateTime::new(year, month, day, hour, minute, second, 0).ok()?;
    let mut text = time.strftime("%Y-%m-%dT%H:%M:%S").to_string();
    let digits = sub_seconds.map(str::trim).filter(|s| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit()));
    if let Some(digits) = digits {
        text.push('.');
        text.push_str(&digits[..digits.len().min(9)]);
    }
    if let Some(offset) = offset.map(str::trim).filter(|o| is_offset(o)) {
        text.push_str(offset);
    }
    Some(text)
}

fn is_offset(text: &str) -> bool {
    let bytes = text.as_bytes();
    let number = |range: std::ops::Range<usize>| text.get(range).and_then(|t| t.parse::<u8>().ok());
    text == "Z"
        || (bytes.len() == 6
            && matches!(bytes[0], b'+' | b'-')
            && bytes[3] == b':'
            && number(1..3).is_some_and(|h| h <= 14)
            && number(4..6).is_some_and(|m| m < 60))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exif_times() {
        let t = |d, s, o| rfc3339(d, s, o);
        assert_eq!(t("2024:03:09 06:41:07", None, None).as_deref(), Some("2024-03-09T06:41:07"));
        let full = t("2024:03:09 06:41:07", Some("25 "), Some("+01:00"));
        assert_eq!(full.as_deref(), Some("2024-03-09T06:41:07.25+01:00"));
        assert_eq!(t("2024:03:09 06:41:07", Some(""), Some("   :  ")).as_deref(), Some("2024-03-09T06:41:07"));
        assert_eq!(t("0000:00:00 00:00:00", None, None), None);
        assert_eq!(t("2024:13:09 06:41:07", None, None), None);
        assert_eq!(t("    :  :     :  :  ", None, None), None);
        assert_eq!(t("", None, None), None);
    }
}
