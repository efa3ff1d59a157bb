//! Noise by tone, and how far it is known.

use super::line_fit::Line;
use super::rounding::ROUNDING;

/// Noise of one plane as a function of the level.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Variance {
    pub(super) line: Line,
    pub(super) black_dn: f64,
    /// Levels above black between which the line is known; `None` where it holds for all.
    pub(super) tones_dn: Option<(f64, f64)>,
}

impl Variance {
    /// Least and greatest variance (DN squared) of a tone at a level, DN absolute. Outside the tones that were measured it
    /// lies between none and all of it being the noise of light, which is proportional to the level.
    pub(crate) fn bounds(&self, level_dn: f64) -> (f64, f64) {
        let level = (level_dn - self.black_dn).max(0.0);
        let at = |level: f64| self.line.at(level).max(ROUNDING);
        let Some((low, high)) = self.tones_dn else { return (at(level), at(level)) };
        let nearest = level.clamp(low.max(1.0), high.max(1.0));
        let (still, light) = (at(nearest), (at(nearest) * level / nearest).max(ROUNDING));
        (still.min(light), still.max(light))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outside_the_measured_tones_the_noise_lies_between_none_and_all_of_it_being_that_of_light() {
        let line = Line {
            offset: 4.0,
            slope: 0.5,
            square: 0.0,
            offset_error: 1.0,
            slope_error: 1.0,
            square_error: 0.0,
            used: 100,
        };
        let known = Variance { line, black_dn: 100.0, tones_dn: None };
        let narrow = Variance { tones_dn: Some((200.0, 400.0)), ..known };
        for level in [0.0, 100.0, 300.0, 4_000.0] {
            let (least, most) = known.bounds(100.0 + level);
            assert_eq!((least, most), (4.0 + 0.5 * level, 4.0 + 0.5 * level));
            let (low, high) = narrow.bounds(100.0 + level);
            assert!(low <= least && most <= high, "{level}: {low} to {high}");
        }
        // 104 DN^2 at 200 DN: at half of it 52 by light, 104 by read noise; 204 at 400, ten times of it 2040 or 204.
        assert_eq!(narrow.bounds(200.0), (52.0, 104.0));
        assert_eq!(narrow.bounds(400.0), (154.0, 154.0));
        assert_eq!(narrow.bounds(4_100.0), (204.0, 2_040.0));
    }
}
