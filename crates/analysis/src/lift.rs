//! The tone that becomes a print's mid grey, and what it costs in noise to bring a dark frame there.
//!
//! Measures: EV by which developing has to lift the frame; signal-to-noise ratio of tones between. Model: the variance
//! of a pixel rises in a straight line with its tone (photon noise on read noise).
//! Source: own derivation, docs/measures.md, "A frame that is too dark"; ISO 12232 and ISO 2720 (from memory) for where
//! white and the metered mean lie.

/// White lies this far below saturation where a grey of 18 % lies at 12.7 %: log2(0.18 / 0.127), EV.
pub(crate) const WHITE_BELOW_SATURATION_EV: f64 = 0.5;

/// A picture that is meant dark still has its lightest tones within this of white: below that nothing in it would be
/// lighter than a middle grey. Common practice, no source.
pub(crate) const DARK_PICTURE_EV: f64 = 2.0;

/// Lifts below this are a matter of taste and not told.
pub(crate) const TOLD_EV: f64 = 0.3;

/// EV by which developing lifts a frame: until the mean of the picture lies where a meter would have put it, and no
/// further than its lightest tones reach white. Zero where it is bright enough. `mean_share` is the mean over saturation.
pub(crate) fn lift_ev(brighter_by_ev: f64, mean_share: f64) -> f64 {
    let to_grey = (crate::range::MIDTONE_SHARE / mean_share.max(1e-6)).log2();
    (brighter_by_ev - WHITE_BELOW_SATURATION_EV).min(to_grey).max(0.0)
}

/// Signal-to-noise ratio `ev` below a mid-tone whose ratio is `at_top`, where that of the tone `lift` EV below it is
/// `at_bottom`: the variance between the two follows a straight line, as it does where it is photon and read noise.
pub(crate) fn between(at_top: f64, at_bottom: f64, lift: f64, ev: f64) -> f64 {
    let (x, x1) = ((-ev).exp2(), (-lift).exp2());
    if ev <= 0.0 || x1 >= 1.0 {
        return at_top;
    }
    let (top, bottom) = (at_top.powi(-2), (x1 / at_bottom).powi(2));
    let share = ((x - x1) / (1.0 - x1)).clamp(0.0, 1.0);
    x.max(x1) / (bottom + share * (top - bottom)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::snr;

    #[test]
    fn a_frame_is_lifted_to_white_or_to_grey_whichever_comes_first() {
        // Metered as ISO 12232 says, white at 1 / sqrt(2) of saturation: nothing to lift.
        assert_eq!(lift_ev(0.5, 0.127), 0.0);
        // Three EV under, all of it.
        assert!((lift_ev(3.5, 0.127 / 8.0) - 3.0).abs() < 1e-9);
        // Fog: room to saturation, but the mean is where it should be. Snow: lighter than that.
        assert_eq!(lift_ev(2.0, 0.127), 0.0);
        assert_eq!(lift_ev(1.0, 0.4), 0.0);
        // Night with a lit window: dark, but its lights are at saturation.
        assert_eq!(lift_ev(0.0, 0.002), 0.0);
        assert_eq!(lift_ev(-1.5, 0.002), 0.0);
        assert!(lift_ev(12.0, 0.0).is_finite() && lift_ev(12.0, -0.1) > 11.0);
    }

    #[test]
    fn tones_between_two_known_ones_follow_the_model() {
        for (tone_e, read_e) in [(400.0, 3.0), (4_000.0, 0.0), (60.0, 6.0)] {
            let at = |ev: f64| snr(tone_e * (-ev).exp2(), read_e, 1.0);
            for lift in [0.5, 2.5, 6.0] {
                for ev in [0.0, 0.4, lift - 0.1, lift] {
                    assert!((between(at(0.0), at(lift), lift, ev) / at(ev) - 1.0).abs() < 1e-9, "{lift} {ev}");
                }
            }
        }
        assert_eq!(between(20.0, 20.0, 0.0, 0.0), 20.0);
    }
}
