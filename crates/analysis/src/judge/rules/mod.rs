//! One rule per file. A rule looks at one frame before one brief and gives a finding or none; it never judges what is
//! unknown.

pub(super) mod banded;
pub(super) mod blocked;
pub(super) mod blown;
mod damaged;
mod diffracted;
mod noisy;
mod shaken;
mod slow_shutter;
pub(super) mod soft;
mod too_few_pixels;
mod vibration_band;

pub(crate) use soft::PIXEL_SHARP_PX;

use super::{Case, Finding, FindingCode, Severity};
use crate::brief::length::{self, short};

/// A rule.
pub(super) type Rule = fn(&Case<'_>) -> Option<Finding>;

/// Every rule, the plainest cause first: findings of equal severity stand in this order.
pub(super) const RULES: [Rule; 11] = [
    damaged::rule,
    too_few_pixels::rule,
    shaken::rule,
    soft::rule,
    diffracted::rule,
    blown::rule,
    blocked::rule,
    noisy::rule,
    banded::rule,
    slow_shutter::rule,
    vibration_band::rule,
];

/// A finding with its numbers.
struct Parts {
    code: FindingCode,
    severity: Severity,
    measured: f64,
    limit: f64,
    unit: &'static str,
    text: String,
    remedy: String,
}

impl Parts {
    fn into_finding(self) -> Finding {
        Finding {
            code: self.code,
            severity: self.severity,
            measured: crate::known(self.measured),
            limit: crate::known(self.limit),
            unit: self.unit.into(),
            text: self.text,
            remedy: self.remedy,
        }
    }
}

/// A figure as it is written, with more places where it would not read as standing on that side of its limit, as [`short`]
/// writes it, on which it stands: "1.52 times", not "1.5 times, limit 1.5".
fn apart(written: String, value: f64, limit: f64) -> String {
    let limit_read: f64 = short(limit).parse().unwrap_or(limit);
    let tells =
        |text: &str| text.parse().is_ok_and(|read: f64| read.partial_cmp(&limit_read) == value.partial_cmp(&limit));
    if tells(&written) {
        return written;
    }
    let places = written.split_once('.').map_or(0, |(_, after)| after.len());
    let finer = (places + 1..=places + 4).map(|places| format!("{value:.places$}")).find(|text| tells(text));
    finer.unwrap_or(written)
}

/// The value of a limit that a severity passed: fails where it fails, else borderline.
fn passed(limit: crate::brief::Limit, severity: Severity) -> f64 {
    if severity == Severity::Fails { limit.fails } else { limit.borderline }
}

/// "the paper" or "the screen".
fn surface(case: &Case<'_>) -> &'static str {
    if case.brief.output.screen.is_some() { "the screen" } else { "the paper" }
}

/// The finest that is seen, in words: "what the eye resolves from 45 cm".
fn finest_words(case: &Case<'_>) -> String {
    let seen = case.paper.seen;
    if seen.finest_mm > seen.eye_limit_mm {
        "one pixel of the screen".into()
    } else {
        format!("what the eye resolves from {}", case.brief.distance_text())
    }
}

/// The largest print that stays within the limits of size, in words; empty where unknown.
fn largest_words(case: &Case<'_>) -> Option<String> {
    let largest = case.largest(false)?;
    let (w, h) = (largest.width_in * length::MM_PER_INCH, largest.height_in * length::MM_PER_INCH);
    Some(length::most_text(w, h, case.brief.output.picture_unit()))
}

/// "or print no larger than 12 x 18 in": the way out for this frame.
fn or_print_smaller(case: &Case<'_>) -> String {
    match largest_words(case) {
        Some(size) if case.brief.output.screen.is_some() => format!("; this frame: show no larger than {size}"),
        Some(size) => format!("; this frame: print no larger than {size}"),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::apart;

    #[test]
    fn a_figure_reads_on_the_side_of_its_limit_on_which_it_stands() {
        let told = |value: f64, limit: f64| apart(format!("{value:.1}"), value, limit);
        assert_eq!(told(1.52, 1.5), "1.52");
        assert_eq!(told(1.4, 1.5), "1.4");
        assert_eq!(told(11.97, 12.0), "11.97");
        // Where the digits of the limit hide it, the shorter figure stays.
        assert_eq!(told(12.27, 12.26), "12.3");
        assert_eq!(apart("150".into(), 149.6, 150.4), "149.6");
        assert_eq!(apart("12".into(), 12.2, 12.25), "12");
    }
}
