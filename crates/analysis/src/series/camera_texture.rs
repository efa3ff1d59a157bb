//! Which of two prints shows finer detail: the contrast of fine and of coarser texture that reaches the eye.

use super::Estimate;

/// Contrast at one of [`TEXTURES`] must differ by this much to show (own rule; the scale is that of the limits 1.5 and
/// 3 eye limits, where it is 0.66 and 0.18 at 15 cycles per degree).
const SHOWS: f64 = 0.1;
/// Textures that are compared, cycles per degree: between soft prints none shows at 15, and the coarser ones tell (own choice;
/// the eye is at its most sensitive from about 3 on).
const TEXTURES: [f64; 4] = [FINE, 10.0, 5.0, 3.0];
/// The finest texture.
const FINE: f64 = 15.0;
/// Edges wider by this ratio are not called alike because both are too soft for any of [`TEXTURES`] (own choice).
const WIDER: f64 = 1.2;

/// Contrast left at `cycles` per degree of an edge whose 10-90 % rise is `rise` minutes of arc, Gaussian.
fn contrast_at_eye(rise_arcmin: f64, cycles: f64) -> f64 {
    let sigma = rise_arcmin / 2.5631;
    (-2.0 * (std::f64::consts::PI * sigma * cycles / 60.0).powi(2)).exp()
}

/// Which camera's print is visibly better in one respect.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Better {
    /// That of the camera with more pixels.
    Larger,
    /// That of the other one.
    Smaller,
    /// Neither.
    Neither,
    /// Not the larger's; whether the other's is cannot be told.
    NotLarger,
    /// It cannot be told.
    Untold,
}

/// One texture as it reaches the eye with the two cameras.
#[derive(Debug, Clone, Copy)]
pub(super) struct Texture {
    cycles: f64,
    pub(super) with_smaller: f64,
    pub(super) with_larger: f64,
    /// By how much the contrast is better with the larger camera: the ends of the interval.
    better_by: [f64; 2],
}

impl Texture {
    fn of(rises: [Estimate; 2], eye_mm: f64, cycles: f64) -> Option<Self> {
        let contrast = |mm: f64| contrast_at_eye(mm / eye_mm, cycles);
        let [a, b] = rises;
        let (with_smaller, with_larger) = (contrast(a.value?), contrast(b.value?));
        let middle = with_larger - with_smaller;
        let better_by = match (a.low, a.high, b.low, b.high) {
            (Some(a_low), Some(a_high), Some(b_low), Some(b_high)) => {
                // The ends combine as independent errors.
                let end =
                    |b_end: f64, a_end: f64| (contrast(b_end) - with_larger).hypot(contrast(a_end) - with_smaller);
                [middle - end(b_high, a_low.max(0.0)), middle + end(b_low.max(0.0), a_high)]
            }
            // No interval with one frame: the whole difference may be chance.
            _ => [f64::NEG_INFINITY, f64::INFINITY],
        };
        Some(Self { cycles, with_smaller, with_larger, better_by })
    }

    pub(super) fn is_fine(&self) -> bool {
        self.cycles >= FINE
    }

    fn difference(&self) -> f64 {
        (self.with_larger - self.with_smaller).abs()
    }

    fn shows(&self) -> Better {
        match self.better_by {
            [low, _] if low >= SHOWS => Better::Larger,
            [_, high] if high <= -SHOWS => Better::Smaller,
            [low, high] if high < SHOWS && low > -SHOWS => Better::Neither,
            [_, high] if high < SHOWS => Better::NotLarger,
            _ => Better::Untold,
        }
    }
}

/// Which camera shows finer detail.
pub(super) struct Detail {
    pub(super) better: Better,
    /// The texture that tells: of those that differ most, the finest.
    pub(super) texture: Option<Texture>,
    /// Both are too soft for any texture to tell them apart, though the edges differ.
    pub(super) too_soft: bool,
}

/// Which camera shows finer detail, from the edges' rises on the paper (mm, smaller camera first).
pub(super) fn sharper(rises: [Estimate; 2], eye_mm: f64) -> Detail {
    let textures: Vec<Texture> = TEXTURES.iter().filter_map(|c| Texture::of(rises, eye_mm, *c)).collect();
    let found = |better: Better| textures.iter().any(|t| t.shows() == better);
    let better = if textures.is_empty() || found(Better::Untold) && !found(Better::Larger) && !found(Better::Smaller) {
        Better::Untold
    } else {
        [Better::Larger, Better::Smaller, Better::NotLarger].into_iter().find(|b| found(*b)).unwrap_or(Better::Neither)
    };
    let telling =
        textures.iter().filter(|t| !matches!(better, Better::Larger | Better::Smaller) || t.shows() == better);
    // The finest comes first and stays unless another differs by more.
    let texture = telling.copied().reduce(|most, t| if t.difference() > most.difference() + 0.005 { t } else { most });
    let coarsest = textures.last().map_or(0.0, |t| t.with_larger.max(t.with_smaller));
    let apart = rises[0].value.zip(rises[1].value).is_some_and(|(a, b)| a.max(b) > WIDER * a.min(b));
    let too_soft = matches!(better, Better::Neither | Better::NotLarger) && coarsest < 2.0 * SHOWS && apart;
    Detail { better: if too_soft { Better::Untold } else { better }, texture, too_soft }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// The contrasts that the page on briefs gives for 1.5 and 3 eye limits.
    #[test]
    fn contrast_at_the_eye_is_that_of_a_gaussian_edge() {
        assert!((contrast_at_eye(1.5, FINE) - 0.66).abs() < 0.01);
        assert!((contrast_at_eye(3.0, FINE) - 0.18).abs() < 0.01);
    }

    fn rise(mm: f64, off: f64) -> Estimate {
        Estimate { value: Some(mm), low: Some(mm - off), high: Some(mm + off), frames: 5 }
    }

    /// Rises in minutes of arc (an eye limit of 1 mm). Contrasts by hand, exp(-2 (pi R f / (2.5631 x 60))^2): rises of 5.1 and 14.3
    /// keep nothing at 15 cycles per degree, but 0.82 and 0.18 at 3; 30 and 60 keep nothing of any texture.
    #[test]
    fn between_soft_prints_coarser_texture_tells() {
        let softer = sharper([rise(5.1, 0.05), rise(14.3, 0.1)], 1.0);
        assert_eq!(softer.better, Better::Smaller);
        let texture = softer.texture.unwrap();
        assert!(texture.cycles < FINE && texture.difference() > 0.5, "{texture:?}");
        assert_eq!(sharper([rise(14.3, 0.1), rise(5.1, 0.05)], 1.0).better, Better::Larger);
        let lost = sharper([rise(30.0, 0.1), rise(60.0, 0.1)], 1.0);
        assert!(lost.better == Better::Untold && lost.too_soft);
        let alike = sharper([rise(60.0, 0.1), rise(60.5, 0.1)], 1.0);
        assert!(alike.better == Better::Neither && !alike.too_soft);
        // Sharp prints are told by fine texture, as ever.
        assert_eq!(sharper([rise(1.9, 0.02), rise(1.0, 0.02)], 1.0).texture.unwrap().cycles, FINE);
        assert_eq!(sharper([Estimate::plain(Some(1.9), 1), rise(1.0, 0.02)], 1.0).better, Better::Untold);
    }
}
