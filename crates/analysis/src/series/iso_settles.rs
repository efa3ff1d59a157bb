//! From which ISO on a higher one no longer lowers the read noise in electrons.

use super::{Estimate, Step, short};

/// A higher ISO pays while it lowers the read noise in electrons by more than this share.
const WORTH: f64 = 0.1;
/// What the read noise of one step may be off by at the least (docs/measures.md: nine of ten frames within 3 to 8 %).
const READ_ERROR: f64 = 0.05;

/// What the read noise of later steps says of one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Later {
    /// None lowers it by more than [`WORTH`].
    Settled,
    /// One does.
    Falls,
    /// The intervals are too wide.
    Untold,
}

/// Behind the amplifier noise in electrons only shrinks as the ISO rises, so that what no step tells alone their mean tells, whose
/// errors combine as independent ones.
fn later(value: f64, steps: &[Estimate]) -> Later {
    let worth = value * (1.0 - WORTH);
    // One frame has no interval, but may be off, and a few that agree may be off together.
    let off = |e: &Estimate, end: Option<f64>| e.value.map(|v| (end.unwrap_or(v) - v).abs().max(READ_ERROR * v));
    let low = |e: &Estimate| e.value.zip(off(e, e.low)).map(|(v, off)| v - off);
    let high = |e: &Estimate| e.value.zip(off(e, e.high)).map(|(v, off)| v + off);
    if steps.iter().any(|e| high(e).is_some_and(|h| h < worth)) {
        return Later::Falls;
    }
    let count = steps.len() as f64;
    let values: Vec<f64> = steps.iter().filter_map(|e| e.value).collect();
    let mean = values.iter().sum::<f64>() / count;
    let off = steps.iter().filter_map(|e| Some(e.value? - low(e)?)).map(|off| off * off).sum::<f64>().sqrt() / count;
    if mean - off >= worth && values.iter().all(|v| *v >= worth) { Later::Settled } else { Later::Untold }
}

/// The lowest tested ISO from which no higher one lowers the read noise in electrons by more than [`WORTH`], as far as the frames
/// tell, and in words.
pub(super) fn stops_paying(steps: &[Step]) -> (Option<f64>, String) {
    let reading = |s: &Step| {
        let read = s.readings.get("read_noise_e");
        read.value.and(s.setting.number()).map(|iso| (iso, read))
    };
    let (isos, noise): (Vec<f64>, Vec<Estimate>) = steps.iter().filter_map(reading).unzip();
    if noise.len() < 3 {
        return (None, String::new());
    }
    // The highest ISO is not one from which anything could be seen to stop.
    let states: Vec<Later> =
        (0..noise.len() - 1).map(|i| later(noise[i].value.unwrap_or(f64::NAN), &noise[i + 1..])).collect();
    let electrons = |i: usize| short(noise[i].value.unwrap_or(f64::NAN));
    let few = "cannot be told from so few frames: take five or more at each";
    let settled = states.iter().position(|s| *s == Later::Settled);
    // Below it the ISO was tested, but the read noise is not known: it may have settled there already.
    let open_below = steps.first().is_some_and(|s| reading(s).is_none());
    // Up to which step it falls for certain.
    let falls = states.iter().take_while(|s| **s == Later::Falls).count();
    let words = match settled {
        Some(0) if open_below => format!(
            "Read noise stays near {} electrons from ISO {:.0} on, the lowest at which it was measured: a higher ISO gains nothing in \
             the shadows of the raw and gives away highlights; whether a lower one would do as well is not known.",
            electrons(0),
            isos[0]
        ),
        Some(0) => format!(
            "Read noise stays near {} electrons from {:.0} on: a higher ISO gains nothing in the shadows of the raw and gives away highlights.",
            electrons(0),
            isos[0]
        ),
        Some(i) if falls == 0 => format!(
            "Read noise stays near {} electrons from ISO {:.0} on: above it a higher ISO only gives away highlights; whether it falls \
             before {few}.",
            electrons(i),
            isos[i]
        ),
        Some(i) => format!(
            "Read noise falls from {} to {} electrons up to ISO {:.0}; above it a higher ISO only gives away highlights.",
            electrons(0),
            electrons(i),
            isos[i]
        ),
        None if falls == states.len() => {
            format!("Read noise still falls at ISO {:.0}, the highest tested.", isos[isos.len() - 1])
        }
        None if falls == 0 => format!("Whether a higher ISO than {:.0} lowers the read noise {few}.", isos[0]),
        None => format!("Read noise falls above ISO {:.0}; from where on it no longer does {few}.", isos[falls - 1]),
    };
    (settled.filter(|i| *i > 0 || !open_below).map(|i| isos[i]), words)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Electrons with the half width of their intervals, none where it is zero, against 2 electrons before.
    fn state(steps: &[(f64, f64)]) -> Later {
        let estimate = |&(value, half): &(f64, f64)| {
            let end = |by: f64| (half > 0.0).then_some(value + by);
            Estimate { value: Some(value), low: end(-half), high: end(half), frames: 3 }
        };
        later(2.0, &steps.iter().map(estimate).collect::<Vec<Estimate>>())
    }

    #[test]
    fn where_lower_isos_hold_no_reading_it_may_have_settled_before() {
        use crate::series::{Readings, Setting};
        let step = |iso: f64, read: Option<f64>| Step {
            setting: Setting::Number(iso),
            frames: 3,
            left_out: 0,
            readings: Readings(vec![("read_noise_e", Estimate::plain(read, 3))]),
            meets_brief: None,
        };
        let known = [(6400.0, Some(3.5)), (12800.0, Some(3.5)), (25600.0, Some(3.45))].map(|(iso, e)| step(iso, e));
        let (at, words) = stops_paying(&known);
        assert_eq!(at, Some(6400.0), "{words}");
        let (at, words) = stops_paying(&[[step(1600.0, None)].as_slice(), &known].concat());
        assert!(at.is_none() && words.contains("the lowest at which it was measured"), "{words}");
    }

    /// A tenth of 2 electrons: 1.8.
    #[test]
    fn read_noise_settles_only_where_the_later_steps_show_it() {
        assert_eq!(state(&[(2.0, 0.05), (1.95, 0.05)]), Later::Settled);
        assert_eq!(state(&[(1.5, 0.2)]), Later::Falls);
        // Wide intervals tell nothing, though they hold the value before.
        assert_eq!(state(&[(1.9, 0.6)]), Later::Untold);
        assert_eq!(state(&[(1.6, 0.6), (1.7, 0.5)]), Later::Untold);
        // Nine of them together do: 0.3 / 3 = 0.1.
        assert_eq!(state(&[(1.95, 0.3); 9]), Later::Settled);
        assert_eq!(state(&[(1.95, 0.3)]), Later::Untold);
        // Single frames may be off by a twentieth.
        assert_eq!(state(&[(1.91, 0.0)]), Later::Settled);
        assert_eq!(state(&[(1.85, 0.0)]), Later::Untold);
        assert_eq!(state(&[(1.7, 0.0)]), Later::Falls);
        // So may two that agree by chance: 1.75 within a twentieth is 1.84 at the most.
        assert_eq!(state(&[(1.75, 0.01)]), Later::Untold);
    }
}
