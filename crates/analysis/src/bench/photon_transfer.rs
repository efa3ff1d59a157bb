//! Photon transfer: gain, read noise, full well and range of each plane from pairs of evenly lit and of dark frames.
//!
//! Method: EMVA 1288 (photon transfer, pairs of frames of one exposure) and Janesick, "Photon Transfer". Temporal variance
//! of a pair A, B: mean((A - B)^2)/2 - (mean A - mean B)^2/2, so that whatever stands still (fixed pattern, vignetting,
//! dust) cancels. The slope of variance over mean, both above the dark frames', from 0 to 70 % of saturation, is one
//! over the gain. Dark noise is that of the dark pairs less the rounding's 1/12 DN^2. Saturation is the level of a
//! flat in which the variance has collapsed, else that at which it is greatest, else the declared white level.
//! Unit: electrons, DN. Input: the middle 70 % of width and height of each frame.
//! Fails when: the frames do not belong together, an exposure has a single frame, or too few exposures lie below 70 %
//! of saturation.

use rawassay_decode::{Area, FilterArray, Frame};
use serde::Serialize;

use crate::measures::histogram::picture_area;
use crate::range::{decibels, engineering_ev};

/// Flats up to this share of saturation are fitted (EMVA 1288).
const FITTED_TO: f64 = 0.7;

/// Flats of one exposure may differ in level by this share.
const SAME_LEVEL: f64 = 0.03;

/// Share of the range above black from which a dark frame holds light.
const DARK_LIMIT: f64 = 0.02;

/// Variance below this share of the line is that of a saturated flat.
const COLLAPSED: f64 = 0.25;

/// Why a set of frames cannot be used: one line that names the frame and says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct TransferError(String);

/// What a frame of the set is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Evenly lit.
    Flat,
    /// No light.
    Dark,
}

/// One pair, one plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TransferPoint {
    /// Mean, DN above the dark frames (for a dark pair, DN absolute).
    pub mean_dn: f64,
    /// Temporal variance, DN squared.
    pub variance_dn2: f64,
    /// Exposure time, s.
    pub shutter_s: Option<f64>,
}

/// One plane of the sensor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SensorChannel {
    /// Plane name.
    pub name: String,
    /// Electrons per DN.
    pub gain_e_per_dn: f64,
    /// Read noise, electrons, rounding taken off.
    pub read_noise_e: Option<f64>,
    /// Read noise, DN, rounding taken off.
    pub read_noise_dn: Option<f64>,
    /// Electrons at saturation.
    pub full_well_e: f64,
    /// log2(full well / read noise), EV.
    pub engineering_ev: Option<f64>,
    /// Coefficient of determination of the slope, 0..1.
    pub fit_r2: f64,
    /// Level of the dark frames, DN absolute.
    pub dark_dn: f64,
    /// Saturation, DN absolute.
    pub saturation_dn: f64,
    /// "observed" or "declared".
    pub saturation_from: &'static str,
    /// Signal-to-noise ratio at saturation, dB.
    pub snr_max_db: Option<f64>,
    /// Mean deviation of the level from a straight line over exposure time, per cent, 5 to 95 % of saturation; unknown
    /// where the exposure time did not set the light.
    pub linearity_error_pct: Option<f64>,
    /// The pairs.
    pub points: Vec<TransferPoint>,
}

/// The sensor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhotonTransfer {
    /// Planes, in the order of the filter array.
    pub channels: Vec<SensorChannel>,
    /// Pairs of flats and of darks.
    pub flat_pairs: usize,
    /// Pairs of dark frames.
    pub dark_pairs: usize,
    /// Cautions.
    pub notes: Vec<String>,
}

struct Waiting {
    name: String,
    frame: Frame,
    means: Vec<f64>,
}

struct Pair {
    points: Vec<TransferPoint>,
}

/// What all frames of a set have in common.
#[derive(Clone, PartialEq)]
struct Identity {
    camera: (Option<String>, Option<String>, Option<String>),
    iso: Option<f64>,
    size: (usize, usize),
    filter: FilterArray,
}

impl Identity {
    fn of(frame: &Frame) -> Self {
        let shot = &frame.shot;
        Self {
            camera: (shot.make.clone(), shot.model.clone(), shot.serial.clone()),
            iso: shot.iso,
            size: (frame.width, frame.height),
            filter: frame.filter.clone(),
        }
    }
}

/// The first frame of a set: its name, what it shares with the others, black and white level of each plane.
struct First {
    name: String,
    identity: Identity,
    levels: Vec<(f64, f64)>,
}

/// Collects frames one by one; of each pair only the figures are kept, so memory holds the frames that wait for their
/// partner and no more.
#[derive(Default)]
pub struct Collector {
    first: Option<First>,
    waiting: Vec<Waiting>,
    waiting_dark: Option<Waiting>,
    flats: Vec<Pair>,
    darks: Vec<Pair>,
}

impl Collector {
    /// An empty set.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a frame; `name` is what messages call it.
    ///
    /// # Errors
    /// Where the frame does not belong to the set, is dithered or linear, or a dark frame holds light.
    pub fn add(&mut self, name: &str, frame: Frame, kind: Kind) -> Result<(), TransferError> {
        let fail = |what: String| Err(TransferError(format!("{name}: {what}")));
        if frame.filter.is_linear() {
            return fail("holds interpolated colours, not the mosaic; use raw frames as the camera stores them".into());
        }
        if frame.dithered {
            return fail("passed a curve that spoils its noise; set the camera to uncompressed or lossless raw".into());
        }
        let area = middle(&frame);
        if area.is_empty() || area.width < 16 || area.height < 16 {
            return fail("is too small for photon transfer; use full frames".into());
        }
        let identity = Identity::of(&frame);
        match &self.first {
            None => {
                let levels = frame.levels.iter().map(|l| (l.black_dn, l.white_declared_dn)).collect();
                self.first = Some(First { name: name.into(), identity, levels });
            }
            Some(first) => {
                if let Some(what) = mismatch(&first.identity, &identity) {
                    let other = &first.name;
                    return fail(format!("{what} {other}; use frames of one camera at one ISO and size"));
                }
                if frame
                    .levels
                    .iter()
                    .zip(&first.levels)
                    .any(|(l, &first)| other_levels(l.black_dn, l.white_declared_dn, first))
                {
                    let other = &first.name;
                    return fail(format!(
                        "has other black or white levels than {other}; use frames of one bit depth and raw mode"
                    ));
                }
            }
        }
        let means = means(&frame, &area);
        match kind {
            Kind::Dark => {
                for (mean, level) in means.iter().zip(&frame.levels) {
                    if mean - level.black_dn > DARK_LIMIT * (level.white_declared_dn - level.black_dn) {
                        return fail("is given as dark but holds light; cover the lens and take it again".into());
                    }
                }
                match self.waiting_dark.take() {
                    Some(other) => self.darks.push(pair(&other.frame, &frame, &area)),
                    None => self.waiting_dark = Some(Waiting { name: name.into(), frame, means }),
                }
            }
            Kind::Flat => {
                let black: Vec<f64> = frame.levels.iter().map(|l| l.black_dn).collect();
                let partner = self.waiting.iter().position(|w| {
                    same_exposure(&w.frame, &frame)
                        && w.means
                            .iter()
                            .zip(&means)
                            .zip(&black)
                            .all(|((a, b), k)| (a - b).abs() <= SAME_LEVEL * (a.max(*b) - k).max(0.0) + 1.0)
                });
                match partner {
                    Some(at) => {
                        let other = self.waiting.swap_remove(at);
                        self.flats.push(pair(&other.frame, &frame, &area));
                    }
                    None => self.waiting.push(Waiting { name: name.into(), frame, means }),
                }
            }
        }
        Ok(())
    }

    /// Works out the sensor.
    ///
    /// # Errors
    /// Where a frame has no partner, or the exposures do not reach over the range.
    pub fn finish(self) -> Result<PhotonTransfer, TransferError> {
        let fail = |what: String| Err(TransferError(what));
        let Some(First { identity, levels, .. }) = self.first else {
            return fail("no frames: give at least two dark frames and two flats of each of four exposures".into());
        };
        if let Some(alone) = self.waiting.first() {
            return fail(format!(
                "{}: no other flat has its exposure and level; take two flats of each exposure, or leave it out",
                alone.name
            ));
        }
        if let (true, Some(alone)) = (self.darks.is_empty(), &self.waiting_dark) {
            return fail(format!("{}: the only dark frame; take at least two", alone.name));
        }
        if self.darks.is_empty() {
            return fail("no dark frames: cover the lens and take at least two at the same ISO".into());
        }
        let mut notes = Vec::new();
        if let Some(alone) = &self.waiting_dark {
            notes.push(format!("{}: left out, an odd number of dark frames", alone.name));
        }
        let mut channels = Vec::new();
        for (p, plane) in identity.filter.planes.iter().enumerate() {
            channels.push(channel(&plane.name, p, levels[p].1, &self.flats, &self.darks, &mut notes)?);
        }
        Ok(PhotonTransfer { channels, flat_pairs: self.flats.len(), dark_pairs: self.darks.len(), notes })
    }
}

fn mismatch(first: &Identity, other: &Identity) -> Option<&'static str> {
    if first.camera != other.camera {
        Some("is from another camera than")
    } else if first.iso != other.iso {
        Some("has another ISO than")
    } else if first.size != other.size {
        Some("has another size than")
    } else if first.filter != other.filter {
        Some("has another filter array than")
    } else {
        None
    }
}

/// Levels belong together where white is the same and black, which may be measured, differs by less than 1 % of the range.
fn other_levels(black_dn: f64, white_dn: f64, (first_black, first_white): (f64, f64)) -> bool {
    let range = (first_white - first_black).max(1.0);
    (white_dn - first_white).abs() > 0.5 || (black_dn - first_black).abs() > 0.01 * range
}

fn same_exposure(a: &Frame, b: &Frame) -> bool {
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-3 * a.abs().max(b.abs()),
        (a, b) => a == b,
    };
    near(a.shot.shutter_s, b.shot.shutter_s) && near(a.shot.f_number, b.shot.f_number)
}

/// The middle of the picture, its corner on a whole period of the filter array from the picture's.
fn middle(frame: &Frame) -> Area {
    let area = picture_area(frame);
    let (period_x, period_y) = (frame.filter.columns.max(1), frame.filter.rows.max(1));
    let (dx, dy) = (area.width * 3 / 20 / period_x * period_x, area.height * 3 / 20 / period_y * period_y);
    Area::new(area.x + dx, area.y + dy, area.width - 2 * dx, area.height - 2 * dy)
}

fn means(frame: &Frame, area: &Area) -> Vec<f64> {
    let mut sums = vec![(0_u64, 0_u64); frame.filter.planes.len()];
    for y in area.y..area.bottom() {
        let row = &frame.row(y)[area.x..area.right()];
        for (x, &v) in row.iter().enumerate() {
            let s = &mut sums[frame.filter.plane_at(area.x + x, y)];
            s.0 += u64::from(v);
            s.1 += 1;
        }
    }
    sums.iter().map(|&(sum, n)| sum as f64 / n.max(1) as f64).collect()
}

/// Means and temporal variance of a pair, plane by plane.
fn pair(a: &Frame, b: &Frame, area: &Area) -> Pair {
    // Sums of a + b, a - b and its square, in whole numbers: exact.
    let mut sums = vec![(0_u64, 0_i64, 0_u64, 0_u64); a.filter.planes.len()];
    for y in area.y..area.bottom() {
        let (ra, rb) = (&a.row(y)[area.x..area.right()], &b.row(y)[area.x..area.right()]);
        for (x, (&va, &vb)) in ra.iter().zip(rb).enumerate() {
            let s = &mut sums[a.filter.plane_at(area.x + x, y)];
            let d = i64::from(va) - i64::from(vb);
            s.0 += u64::from(va) + u64::from(vb);
            s.1 += d;
            s.2 += (d * d) as u64;
            s.3 += 1;
        }
    }
    let points = sums
        .iter()
        .map(|&(sum, difference, squares, n)| {
            let n = n.max(1) as f64;
            let shift = difference as f64 / n;
            TransferPoint {
                mean_dn: 0.5 * sum as f64 / n,
                variance_dn2: 0.5 * (squares as f64 / n - shift * shift).max(0.0),
                shutter_s: a.shot.shutter_s,
            }
        })
        .collect();
    Pair { points }
}

fn channel(
    name: &str,
    p: usize,
    white_dn: f64,
    flats: &[Pair],
    darks: &[Pair],
    notes: &mut Vec<String>,
) -> Result<SensorChannel, TransferError> {
    let n = darks.len() as f64;
    let dark_dn = darks.iter().map(|d| d.points[p].mean_dn).sum::<f64>() / n;
    let dark_variance = darks.iter().map(|d| d.points[p].variance_dn2).sum::<f64>() / n;
    let mut points: Vec<TransferPoint> = flats
        .iter()
        .map(|f| TransferPoint { mean_dn: f.points[p].mean_dn - dark_dn, ..f.points[p] })
        .filter(|f| f.mean_dn > 0.0)
        .collect();
    points.sort_by(|a, b| a.mean_dn.total_cmp(&b.mean_dn));
    let few = || {
        TransferError(format!(
            "{name}: fewer than three exposures between black and {:.0} % of saturation; take more flats, from dark to bright",
            100.0 * FITTED_TO
        ))
    };
    let greatest = points.iter().map(|q| q.mean_dn).fold(0.0, f64::max);
    if greatest <= 0.0 {
        return Err(few());
    }
    // A first slope from the lower half of the levels tells the saturated flats from the others.
    let (first, _) = slope(&points, dark_variance, 0.5 * greatest).ok_or_else(few)?;
    let collapsed = |q: &&TransferPoint| q.variance_dn2 < COLLAPSED * (first * q.mean_dn + dark_variance);
    let (saturation, from) = match points.iter().rev().find(|q| collapsed(q)) {
        Some(full) => (full.mean_dn, "observed"),
        None => {
            let peak = points.iter().copied().reduce(|a, b| if b.variance_dn2 > a.variance_dn2 { b } else { a });
            match peak {
                Some(peak) if peak.mean_dn < 0.999 * greatest => (peak.mean_dn, "observed"),
                _ => {
                    notes.push(format!(
                        "{name}: no flat is saturated; the full well is that of the declared white level"
                    ));
                    (white_dn - dark_dn, "declared")
                }
            }
        }
    };
    let (k, r2) = slope(&points, dark_variance, FITTED_TO * saturation).ok_or_else(few)?;
    let gain = 1.0 / k;
    let read_variance = dark_variance - 1.0 / 12.0;
    let read_noise_dn = (read_variance > 0.0).then(|| read_variance.sqrt());
    if read_noise_dn.is_none() {
        notes.push(format!("{name}: read noise is below what whole DN resolve"));
    }
    let full_well_e = gain * saturation;
    Ok(SensorChannel {
        name: name.into(),
        gain_e_per_dn: gain,
        read_noise_e: read_noise_dn.map(|r| r * gain),
        read_noise_dn,
        full_well_e,
        engineering_ev: read_noise_dn.and_then(|r| engineering_ev(saturation, r)),
        fit_r2: r2,
        dark_dn,
        saturation_dn: saturation + dark_dn,
        saturation_from: from,
        snr_max_db: decibels(full_well_e.sqrt()),
        linearity_error_pct: linearity(&points, saturation),
        points,
    })
}

/// Slope through the origin of variance over mean, both above dark, up to `limit`; relative weights, as the variance of a
/// variance is its square. And its coefficient of determination. At least three levels.
fn slope(points: &[TransferPoint], dark_variance: f64, limit: f64) -> Option<(f64, f64)> {
    let used: Vec<(f64, f64, f64)> = points
        .iter()
        .filter(|q| q.mean_dn <= limit && q.variance_dn2 > 0.0)
        .map(|q| (q.mean_dn, q.variance_dn2 - dark_variance, 1.0 / (q.variance_dn2 * q.variance_dn2)))
        .collect();
    if used.len() < 3 {
        return None;
    }
    let k = used.iter().map(|(x, y, w)| w * x * y).sum::<f64>() / used.iter().map(|(x, _, w)| w * x * x).sum::<f64>();
    let mean = used.iter().map(|u| u.1).sum::<f64>() / used.len() as f64;
    let total: f64 = used.iter().map(|u| (u.1 - mean).powi(2)).sum();
    let left: f64 = used.iter().map(|u| (u.1 - k * u.0).powi(2)).sum();
    let r2 = if total > 0.0 { (1.0 - left / total).max(0.0) } else { 0.0 };
    (k.is_finite() && k > 0.0).then_some((k, r2))
}

/// Mean deviation from a straight line over exposure time, per cent of the line, weighted relatively (EMVA 1288 release 4).
fn linearity(points: &[TransferPoint], saturation: f64) -> Option<f64> {
    let used: Vec<(f64, f64)> = points
        .iter()
        .filter(|q| q.mean_dn > 0.05 * saturation && q.mean_dn < 0.95 * saturation)
        .filter_map(|q| Some((q.shutter_s?, q.mean_dn)))
        .collect();
    let (low, high) = used.iter().fold((f64::INFINITY, 0.0), |r: (f64, f64), u| (r.0.min(u.0), r.1.max(u.0)));
    if used.len() < 4 || high < 2.0 * low {
        return None;
    }
    let (mut s, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(x, y) in &used {
        let w = 1.0 / (y * y);
        s += w;
        sx += w * x;
        sy += w * y;
        sxx += w * x * x;
        sxy += w * x * y;
    }
    let b = (s * sxy - sx * sy) / (s * sxx - sx * sx);
    let a = (sy - b * sx) / s;
    let off: f64 = used.iter().map(|&(x, y)| ((y - a - b * x) / (a + b * x)).abs()).sum();
    // Far off the line, the lamp and not the shutter was changed: then this says nothing of the sensor.
    crate::known(100.0 * off / used.len() as f64).filter(|&e| e < 10.0)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::test_frames::Sensor;

    fn frame(sensor: &Sensor, seed: u64, level_e: f64, shutter_s: f64) -> Frame {
        let sensor = Sensor { seed, ..sensor.clone() };
        let mut frame = sensor.shoot(|x, _, p| level_e * [0.6, 1.0, 1.0, 0.7][p] * (1.0 - 1e-4 * x as f64));
        frame.shot.shutter_s = Some(shutter_s);
        frame
    }

    fn set(sensor: &Sensor) -> Collector {
        let mut collector = Collector::new();
        for k in 0..4 {
            collector.add(&format!("dark{k}"), frame(sensor, 900 + k, 0.0, 0.01), Kind::Dark).unwrap();
        }
        let top = sensor.gain * (sensor.limit - sensor.black);
        for k in 1..=12_u32 {
            let share = f64::from(k) / 8.0;
            for i in 0..2 {
                let shot = frame(sensor, u64::from(10 * k + i), top * share, 0.1 * share);
                collector.add(&format!("flat{k}-{i}"), shot, Kind::Flat).unwrap();
            }
        }
        collector
    }

    #[test]
    fn a_simulated_set_gives_back_its_sensor_within_one_per_cent() {
        for (gain, read_noise, limit) in [(2.0, 3.0, 15_000.0), (0.4, 2.0, 16_383.0)] {
            let sensor = Sensor { gain, read_noise, limit, width: 700, height: 500, ..Sensor::default() };
            let found = set(&sensor).finish().unwrap();
            assert_eq!((found.flat_pairs, found.dark_pairs), (12, 2));
            for c in &found.channels {
                assert!((c.gain_e_per_dn / gain - 1.0).abs() < 0.01, "{c:?}");
                assert!((c.read_noise_e.unwrap() / read_noise - 1.0).abs() < 0.012, "{c:?}");
                let full_well = gain * (limit - sensor.black);
                if c.saturation_from == "observed" {
                    assert!((c.full_well_e / full_well - 1.0).abs() < 0.015, "{c:?}");
                }
                assert!(c.fit_r2 > 0.999 && c.linearity_error_pct.unwrap() < 0.5);
            }
            assert!(found.channels.iter().filter(|c| c.saturation_from == "observed").count() >= 2);
        }
    }

    #[test]
    fn sets_that_do_not_belong_together_are_refused() {
        let sensor = Sensor { width: 200, height: 150, ..Sensor::default() };
        let message = |change: &dyn Fn(&mut Frame), kind| {
            let mut collector = set(&sensor);
            let mut other = frame(&sensor, 77, 5_000.0, 3.0);
            change(&mut other);
            match collector.add("odd", other, kind) {
                Err(e) => e.to_string(),
                Ok(()) => collector.finish().map(|_| String::new()).unwrap_or_else(|e| e.to_string()),
            }
        };
        assert!(message(&|f| f.shot.iso = Some(800.0), Kind::Flat).contains("another ISO"));
        assert!(message(&|f| f.shot.model = Some("else".into()), Kind::Flat).contains("another camera"));
        assert!(message(&|f| f.filter = FilterArray::bayer("BGGR").unwrap(), Kind::Flat).contains("filter array"));
        assert!(message(&|f| f.levels[1].white_declared_dn = 4_095.0, Kind::Flat).contains("levels"));
        assert!(message(&|f| f.levels[2].black_dn -= 384.0, Kind::Flat).contains("levels"));
        assert!(message(&|_| (), Kind::Flat).contains("no other flat"));
        assert!(message(&|_| (), Kind::Dark).contains("holds light"));
        assert!(message(&|f| f.dithered = true, Kind::Flat).contains("curve"));
        assert!(message(&|f| f.filter = FilterArray::linear_rgb(), Kind::Flat).contains("interpolated"));
        assert!(Collector::new().finish().unwrap_err().to_string().contains("no frames"));
    }
}
