//! The camera's clock: order and pauses between frames of one body.
//!
//! Only the local time that the camera wrote counts, not its offset from UTC: within one body the clock is one, and
//! clocks of two bodies are never compared.

use std::cmp::Ordering;

use rawassay_decode::Shot;

/// When a frame was taken, by its camera's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Clock {
    /// Seconds since the start of 2000.
    pub(crate) seconds: f64,
    /// True where the file tells fractions of a second.
    pub(crate) precise: bool,
}

impl Clock {
    /// Reads `taken_at`; `None` where the file does not tell, or not in RFC 3339.
    pub(crate) fn of(shot: &Shot) -> Option<Self> {
        let text = shot.taken_at.as_deref()?.trim();
        // "2026-05-01T10:00:00.25+02:00": the offset starts after the seconds.
        let local = match text.get(19..)?.find(['Z', 'z', '+', '-']) {
            Some(at) => text.get(..19 + at)?,
            None => text,
        };
        let time: jiff::civil::DateTime = local.parse().ok()?;
        let since = time.duration_since(jiff::civil::date(2000, 1, 1).at(0, 0, 0, 0));
        Some(Self { seconds: since.as_secs_f64(), precise: local.len() > 19 })
    }
}

/// Order of file names as a photographer counts: digits by their value.
pub(super) fn name_order(a: &str, b: &str) -> Ordering {
    let (mut a, mut b) = (a.as_bytes(), b.as_bytes());
    while let (Some(&x), Some(&y)) = (a.first(), b.first()) {
        if x.is_ascii_digit() && y.is_ascii_digit() {
            let (left, rest_a) = digits(a);
            let (right, rest_b) = digits(b);
            let order = left.len().cmp(&right.len()).then_with(|| left.cmp(right));
            if order.is_ne() {
                return order;
            }
            (a, b) = (rest_a, rest_b);
        } else if x != y {
            return x.cmp(&y);
        } else {
            (a, b) = (&a[1..], &b[1..]);
        }
    }
    a.len().cmp(&b.len())
}

/// Leading digits without leading zeros, and what follows.
fn digits(text: &[u8]) -> (&[u8], &[u8]) {
    let end = text.iter().position(|c| !c.is_ascii_digit()).unwrap_or(text.len());
    let start = text[..end].iter().position(|c| *c != b'0').unwrap_or(end);
    (&text[start..end], &text[end..])
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn clock(text: &str) -> Option<Clock> {
        Clock::of(&Shot { taken_at: Some(text.to_string()), ..Shot::default() })
    }

    #[test]
    fn the_offset_does_not_move_the_camera_clock() {
        let plain = clock("2026-05-01T10:00:00").unwrap();
        let precise = clock("2026-05-01T10:00:00.25+02:00").unwrap();
        assert!((precise.seconds - plain.seconds - 0.25).abs() < 1e-6);
        assert!(precise.precise && !plain.precise);
        assert_eq!(clock("2026-05-01T10:00:00Z"), Some(plain));
        assert_eq!(clock("2026-05-01"), None);
        assert_eq!(clock("0000-00-00T00:00:00"), None);
    }

    #[test]
    fn names_count_by_value() {
        assert_eq!(name_order("F9.dng", "F10.dng"), Ordering::Less);
        assert_eq!(name_order("F009.dng", "F10.dng"), Ordering::Less);
        assert_eq!(name_order("a/F2.dng", "b/F1.dng"), Ordering::Less);
    }
}
