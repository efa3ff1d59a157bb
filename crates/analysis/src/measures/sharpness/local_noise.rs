//! A rough noise model from the frame itself, for frames whose gain or read noise could not be measured.

use super::samples::{ColourSamples, SampleNoise};

/// Tone classes of the estimate.
const TONES: usize = 12;
/// The share of the patches of a tone that is taken as free of structure.
const FLAT_SHARE: f64 = 0.15;
/// Values of a patch along each side of it.
const ACROSS: usize = 4;
/// Patches at most along each side of the frame.
const MOST_PATCHES: usize = 48;
/// Rows at which second differences are taken, about.
const MOST_ROWS: usize = 300;
/// Fewest patches of a frame.
const LEAST_PATCHES: usize = 24;
/// One over the 15 % point of chi^2 over its 15 degrees of freedom (0.634, tables of chi^2).
const FLAT_PATCH: f64 = 1.58;
/// The same for the second differences of a row, which overlap.
const FLAT_ROW: f64 = 1.6;

/// Sample of a difference: columns and rows from its place, weight.
type Tap = (isize, isize, f32);

/// Second differences along one direction of those along the other: a scene behind lens and pixel leaves hardly anything of them.
/// The directions are given by the columns and rows to the next sample.
const fn second_of_second((ax, ay): (isize, isize), (bx, by): (isize, isize)) -> [Tap; 9] {
    [
        (0, 0, 4.0),
        (-ax, -ay, -2.0),
        (ax, ay, -2.0),
        (-bx, -by, -2.0),
        (bx, by, -2.0),
        (-ax - bx, -ay - by, 1.0),
        (ax + bx, ay + by, 1.0),
        (ax - bx, ay - by, 1.0),
        (bx - ax, by - ay, 1.0),
    ]
}

/// Differences, those that leave least of the scene first, with the strides at which they are taken: of samples at every pixel; of
/// the greens of a Bayer array; of squares of four (in 6x6 arrays); of samples at every other column and row.
const DIFFERENCES: [(&[Tap], &[usize]); 4] = [
    (&second_of_second((1, 0), (0, 1)), &[3]),
    (&second_of_second((1, 1), (1, -1)), &[4]),
    (&[(0, 0, 1.0), (1, 0, -1.0), (0, 1, -1.0), (1, 1, 1.0)], &[2, 3, 4, 6]),
    (&second_of_second((2, 0), (0, 2)), &[4]),
];

/// A difference that the filter array has samples for.
struct Difference {
    taps: &'static [Tap],
    /// First place, from the corner of the area.
    first: (usize, usize),
    /// From one place to the next, columns and rows.
    every: usize,
}

impl Difference {
    /// The one of the nearest samples. `None` where the array has no such places in columns and rows.
    fn of(samples: &ColourSamples<'_>) -> Option<Self> {
        let (columns, rows) = samples.period;
        let own = |x: usize, y: usize, &(dx, dy, _): &Tap| {
            samples.cell_at(x.wrapping_add_signed(dx), y.wrapping_add_signed(dy)).is_some()
        };
        DIFFERENCES.iter().find_map(|&(taps, strides)| {
            strides.iter().find_map(|&every| {
                // Two columns and rows from the corner lie the first places of differences that reach so far.
                let places = (2..2 + rows).flat_map(|y| (2..2 + columns).map(move |x| (x, y)));
                let all_own = |&(x, y): &(usize, usize)| {
                    (0..rows).all(|j| {
                        (0..columns).all(|i| {
                            let (x, y) = (samples.area.x + x + i * every, samples.area.y + y + j * every);
                            taps.iter().all(|tap| own(x, y, tap))
                        })
                    })
                };
                places.into_iter().find(all_own).map(|first| Self { taps, first, every })
            })
        })
    }

    /// Mean level, and variance of one sample, of the patch whose first difference lies at `x`, `y`. `None` where one is clipped.
    fn patch(&self, samples: &ColourSamples<'_>, (x, y): (usize, usize)) -> Option<(f32, f32)> {
        let frame = samples.frame;
        let mut values = [0.0_f32; ACROSS * ACROSS];
        let mut level = 0.0;
        for (k, value) in values.iter_mut().enumerate() {
            let (x, y) = (x + k % ACROSS * self.every, y + k / ACROSS * self.every);
            for &(dx, dy, weight) in self.taps {
                let (x, y) = (x.wrapping_add_signed(dx), y.wrapping_add_signed(dy));
                let cell = samples.cell_at(x, y)?;
                let dn = frame.row(y)[x];
                if dn >= cell.clip_dn {
                    return None;
                }
                let v = (f32::from(dn) - cell.black_dn) * cell.scale;
                *value += weight * v;
                level += v;
            }
        }
        let n = values.len() as f32;
        // About their mean: the two greens of a Bayer array differ a little from place to place.
        let mean = values.iter().sum::<f32>() / n;
        let squares: f32 = values.iter().map(|v| (v - mean).powi(2)).sum();
        let weights: f32 = self.taps.iter().map(|tap| tap.2 * tap.2).sum();
        Some((level / n / self.taps.len() as f32, squares / (n - 1.0) / weights))
    }

    /// Level and variance of patches all over the frame.
    fn patches(&self, samples: &ColourSamples<'_>) -> Vec<(f32, f32)> {
        // The differences reach two columns beyond their places, and the first ones lie in from the corner.
        let size = self.every * ACROSS + 2;
        let places = |from: usize, first: usize, length: usize, period: usize| {
            let room = (length.saturating_sub(first + size)) / size;
            // Whole periods apart: all lie on samples of the colour.
            let step = (room.div_ceil(MOST_PATCHES).max(1) * size).next_multiple_of(period);
            (from + first..(from + length).saturating_sub(size)).step_by(step)
        };
        let a = &samples.area;
        places(a.y, self.first.1, a.height, samples.period.1)
            .flat_map(|y| places(a.x, self.first.0, a.width, samples.period.0).map(move |x| (x, y)))
            .filter_map(|place| self.patch(samples, place))
            .collect()
    }
}

/// Variance against level, lower envelope by tone, from second differences of same-colour neighbours along rows.
///
/// Own derivation: the lower 15 % of a tone (over their place in the distribution of flat patches) are taken for noise. Of a Bayer
/// array these differences peak at 0.25 cycles per pixel, where fine texture is as strong as noise.
pub(crate) fn with_texture(samples: &ColourSamples<'_>) -> SampleNoise {
    line(&by_tone(along_rows(samples), FLAT_ROW))
}

/// The same from differences of near samples, which hold all of the noise and, of a scene behind lens and pixel, hardly anything.
/// `slope_dn` is that of a gain that is known, if any. `None` where the array has no such samples or the frame too few, and of
/// interpolated samples, which share their neighbours' noise.
pub(crate) fn near(samples: &ColourSamples<'_>, slope_dn: Option<f32>) -> Option<SampleNoise> {
    let difference = Difference::of(samples).filter(|_| !samples.frame.filter.is_linear())?;
    let points = by_tone(difference.patches(samples), FLAT_PATCH);
    let &(level, variance) = points.first()?;
    Some(slope_dn.map_or_else(
        || line(&points),
        |slope_dn| {
            // What the darkest tone has beyond what its light makes.
            let floor = (variance - f64::from(slope_dn) * level).max(1.0 / 12.0);
            SampleNoise { slope_dn, floor_dn2: floor as f32 }
        },
    ))
}

/// Level and variance of patches of rows: v = (a - 2 b + c) / sqrt 6 has the variance of one sample where the scene is straight,
/// and the mean of v^2 is taken over 12 neighbours.
fn along_rows(samples: &ColourSamples<'_>) -> Vec<(f32, f32)> {
    let frame = samples.frame;
    let spp = frame.filter.samples_per_pixel;
    let mut patches: Vec<(f32, f32)> = Vec::new();
    // Of the rows that hold the colour: every other one of a Bayer array holds no red.
    let holds = |y: &usize| (0..samples.period.0).any(|x| samples.cell_at(x, *y).is_some());
    let rows: Vec<usize> = (samples.area.y..samples.area.bottom()).filter(holds).collect();
    let mut line: Vec<f32> = Vec::with_capacity(samples.area.width);
    for &y in rows.iter().step_by((rows.len() / MOST_ROWS).max(1)) {
        line.clear();
        let row = frame.row(y);
        for x in samples.area.x..samples.area.right() {
            if let Some(cell) = samples.cell_at(x, y) {
                let dn = row[x * spp + samples.sample];
                line.push(if dn >= cell.clip_dn { f32::NAN } else { (f32::from(dn) - cell.black_dn) * cell.scale });
            }
        }
        for patch in line.chunks_exact(14).step_by(1 + line.len() / 14 / 64) {
            let level = patch.iter().sum::<f32>() / 14.0;
            let spread = patch.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).powi(2)).sum::<f32>() / 12.0 / 6.0;
            if spread.is_finite() {
                patches.push((level, spread));
            }
        }
    }
    patches
}

/// Level and variance of the flat patches of each tone, the darkest first. `flat` makes up for their being the least spread.
fn by_tone(mut patches: Vec<(f32, f32)>, flat: f64) -> Vec<(f64, f64)> {
    if patches.len() < LEAST_PATCHES {
        return Vec::new();
    }
    patches.sort_by(|a, b| a.0.total_cmp(&b.0));
    let size = patches.len().div_ceil(TONES).max(12);
    let of_tone = |tone: &mut [(f32, f32)]| {
        let level = f64::from(tone[tone.len() / 2].0.max(0.0));
        tone.sort_by(|a, b| a.1.total_cmp(&b.1));
        let variance = f64::from(tone[(tone.len() as f64 * FLAT_SHARE) as usize].1) * flat;
        (level, variance.max(1.0 / 12.0))
    };
    patches.chunks_mut(size).map(of_tone).collect()
}

/// The straight line through these, weights 1 / variance^2, slope and floor kept from going negative.
fn line(points: &[(f64, f64)]) -> SampleNoise {
    let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(x, y) in points {
        let k = 1.0 / (y * y);
        w += k;
        wx += k * x;
        wy += k * y;
        wxx += k * x * x;
        wxy += k * x * y;
    }
    let det = w * wxx - wx * wx;
    let slope = if det > 1e-9 * w * wxx { ((w * wxy - wx * wy) / det).max(0.0) } else { 0.0 };
    let floor = ((wy - slope * wx) / w).max(1.0 / 12.0);
    if points.is_empty() || !slope.is_finite() || !floor.is_finite() {
        return SampleNoise { slope_dn: 0.0, floor_dn2: 1.0 };
    }
    SampleNoise { slope_dn: slope as f32, floor_dn2: floor as f32 }
}

#[cfg(test)]
mod tests {
    use rawassay_decode::FilterArray;

    use super::super::samples::colour_groups;
    use super::*;
    use crate::test_frames::{Noise, Sensor};

    /// A ground of 3000 electrons with texture of 3 % of that all over, behind a lens and pixel of 0.75 px.
    fn texture(width: usize, height: usize) -> Vec<f64> {
        let mut rng = Noise::new(7);
        let white: Vec<f64> = (0..width * height).map(|_| rng.normal()).collect();
        let weights: Vec<f64> = (-3..=3).map(|k| (-0.5 * (f64::from(k) / 0.75).powi(2)).exp()).collect();
        let along = |from: &[f64], step: usize| -> Vec<f64> {
            let n = from.len();
            (0..n).map(|i| (0..7).map(|k| weights[k] * from[(i + n + k * step - 3 * step) % n]).sum()).collect()
        };
        let smooth = along(&along(&white, 1), width);
        let spread = (smooth.iter().map(|v| v * v).sum::<f64>() / smooth.len() as f64).sqrt();
        smooth.iter().map(|v| 3000.0 * (1.0 + 0.03 * v / spread)).collect()
    }

    #[test]
    fn fine_texture_all_over_is_not_taken_for_noise() {
        let scene = texture(512, 384);
        let bayer = |phase| FilterArray::bayer(phase).expect("a known array");
        for filter in [bayer("RGGB"), bayer("GRBG"), FilterArray::monochrome()] {
            let sensor = Sensor { filter, black: 0.0, ..Sensor::default() };
            let frame = sensor.shoot(|x, y, _| scene[y * 512 + x]);
            let samples = ColourSamples::new(&frame, &[], &colour_groups(&frame)[0]);
            // Photon noise, read noise and rounding of the sensor as drawn.
            let truth = (3000.0 + 9.0) / 4.0 + 1.0 / 12.0;
            let found = f64::from(samples.near.variance(1500.0)) / truth;
            assert!((0.8..2.5).contains(&found), "{}: {found} of the variance", frame.filter.word());
        }
    }

    #[test]
    fn every_colour_has_its_noise_whatever_the_height_of_the_frame() {
        // Of frames of 600 to 899 rows every other one is looked at, of 1200 and more every fourth or so.
        for height in [384, 600, 640, 1200, 1280] {
            let sensor = Sensor { black: 0.0, height, ..Sensor::default() };
            let frame = sensor.shoot(|x, _, _| 1000.0 + 4.0 * x as f64);
            for planes in colour_groups(&frame) {
                let samples = ColourSamples::new(&frame, &[], &planes);
                let noise = with_texture(&samples);
                // Photon noise and read noise of the sensor as drawn, and rounding.
                let truth = |level: f64| level / 2.0 + 9.0 / 4.0 + 1.0 / 12.0;
                for level in [600.0, 1400.0] {
                    let found = f64::from(noise.variance(level as f32)) / truth(level);
                    assert!((0.6..1.6).contains(&found), "{} of {height} rows: {found} of the variance", samples.name);
                }
            }
        }
    }

    #[test]
    fn a_gain_that_is_known_is_kept_where_the_read_noise_is_not() {
        let sensor = Sensor { black: 0.0, ..Sensor::default() };
        let frame = sensor.shoot(|x, _, _| if x < 256 { 30.0 } else { 3000.0 });
        let samples = ColourSamples::new(&frame, &[], &colour_groups(&frame)[0]);
        let noise = near(&samples, Some(0.5)).expect("an array with near samples");
        assert!((noise.slope_dn - 0.5).abs() < 1e-6, "{noise:?}");
        // 3 electrons of read noise are 1.5 DN; rounding adds 1/12.
        assert!((1.0..4.0).contains(&noise.floor_dn2), "{noise:?}");
    }
}
