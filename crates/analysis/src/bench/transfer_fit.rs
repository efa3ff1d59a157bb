//! From pairs of frames to gain, read noise, full well and linearity of a plane.

use rawassay_decode::{Area, Frame};

use super::fixed_pattern::{self, Standing};
use super::photon_transfer::{SensorChannel, TransferError, TransferPoint};
use crate::measures::histogram::picture_area;
use crate::range::{decibels, engineering_ev};

/// Flats up to this share of saturation are fitted (EMVA 1288).
const FITTED_TO: f64 = 0.7;
/// Variance below this share of the line is that of a saturated flat.
const COLLAPSED: f64 = 0.25;

/// Means and temporal variances of a pair, by plane.
pub(super) struct Pair {
    pub(super) points: Vec<TransferPoint>,
    /// What stands still in it.
    pub(super) standing: Vec<Standing>,
}

/// The middle of the picture, its corner on a whole period of the filter array from the picture's.
pub(super) fn middle(frame: &Frame) -> Area {
    let area = picture_area(frame);
    let (period_x, period_y) = (frame.filter.columns.max(1), frame.filter.rows.max(1));
    let (dx, dy) = (area.width * 3 / 20 / period_x * period_x, area.height * 3 / 20 / period_y * period_y);
    Area::new(area.x + dx, area.y + dy, area.width - 2 * dx, area.height - 2 * dy)
}

/// Mean of each plane, DN.
pub(super) fn means(frame: &Frame, area: &Area) -> Vec<f64> {
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
pub(super) fn pair(a: &Frame, b: &Frame, area: &Area) -> Pair {
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
                pixels: n as u64,
            }
        })
        .collect();
    Pair { points, standing: fixed_pattern::standing(a, b, area) }
}

/// The sensor as one plane shows it.
pub(super) fn channel(
    name: &str,
    p: usize,
    white_dn: f64,
    flats: &[Pair],
    darks: &[Pair],
    notes: &mut Vec<String>,
) -> Result<SensorChannel, TransferError> {
    let n = darks.len() as f64;
    let pixels = darks.iter().map(|d| d.points[p].pixels as f64).fold(f64::INFINITY, f64::min);
    let dark_dn = darks.iter().map(|d| d.points[p].mean_dn).sum::<f64>() / n;
    let dark_variance = darks.iter().map(|d| d.points[p].variance_dn2).sum::<f64>() / n;
    // The variance of n differences is known within sqrt(2 / n) of itself (normal noise); pairs that differ by more, as
    // telegraph noise makes them, say so themselves.
    let counted = dark_variance * (2.0 / (pixels * n)).sqrt();
    let scattered = if darks.len() < 3 {
        0.0
    } else {
        let squares: f64 = darks.iter().map(|d| (d.points[p].variance_dn2 - dark_variance).powi(2)).sum();
        (squares / (n - 1.0) / n).sqrt()
    };
    let dark_variance_se = counted.max(scattered);
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
    // A first slope from the lower half of the levels (three at the least) tells the saturated flats from the others.
    let lower = points.get(2).map_or(0.0, |third| third.mean_dn).max(0.5 * greatest);
    let first = slope(&points, dark_variance, lower).ok_or_else(few)?.k;
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
    let Slope { k, r2, se, per_dark } = slope(&points, dark_variance, FITTED_TO * saturation).ok_or_else(few)?;
    let gain = 1.0 / k;
    // d(gain) = -gain^2 d(k); the dark frames' variance is taken off every flat's, and so moves the slope as one.
    let from_darks = per_dark * dark_variance_se;
    let gain_se = gain * gain * se.hypot(from_darks);
    let read_variance = dark_variance - 1.0 / 12.0;
    let read_noise_dn = (read_variance > 0.0).then(|| read_variance.sqrt());
    if read_noise_dn.is_none() {
        notes.push(format!("{name}: read noise is below what whole DN resolve"));
    }
    let full_well_e = gain * saturation;
    let read_noise_se_dn = read_noise_dn.map(|r| dark_variance_se / (2.0 * r));
    let relative = |r: f64, se: f64| (se / r).hypot(gain_se / gain);
    let dark: Vec<Standing> = darks.iter().map(|d| d.standing[p]).collect();
    let dark = Standing::mean(&dark);
    let dsnu = dark.all().deviation();
    let prnu = response(p, flats, &dark, dark_dn, saturation);
    Ok(SensorChannel {
        name: name.into(),
        gain_e_per_dn: gain,
        gain_se_e_per_dn: gain_se,
        read_noise_e: read_noise_dn.map(|r| r * gain),
        read_noise_se_e: read_noise_dn.zip(read_noise_se_dn).map(|(r, se)| r * gain * relative(r, se)),
        read_noise_dn,
        read_noise_se_dn,
        full_well_e,
        full_well_se_e: gain_se * saturation,
        engineering_ev: read_noise_dn.and_then(|r| engineering_ev(saturation, r)),
        engineering_se_ev: read_noise_dn
            .zip(read_noise_se_dn)
            .and_then(|(r, se)| crate::known(se / r / std::f64::consts::LN_2)),
        fit_r2: r2,
        dark_dn,
        saturation_dn: saturation + dark_dn,
        saturation_from: from,
        snr_max_db: decibels(full_well_e.sqrt()),
        linearity_error_pct: linearity(&points, saturation),
        dsnu_e: dsnu.map(|d| d.0 * gain),
        dsnu_se_e: dsnu.map(|d| d.1 * gain),
        dsnu_row_e: dark.rows().deviation().map(|d| d.0 * gain),
        dsnu_column_e: dark.columns().deviation().map(|d| d.0 * gain),
        prnu_pct: prnu.map(|r| 100.0 * r.0),
        prnu_se_pct: prnu.map(|r| 100.0 * r.1),
        glow_e: None,
        points,
    })
}

/// Spread of the sensitivity by the pair of flats nearest to half of saturation, as a share of the mean.
fn response(p: usize, flats: &[Pair], dark: &Standing, dark_dn: f64, saturation: f64) -> Option<(f64, f64)> {
    let share = |f: &Pair| (f.points[p].mean_dn - dark_dn) / saturation;
    let off = |f: &Pair| (share(f) - 0.5).abs();
    let flat = flats.iter().min_by(|a, b| off(a).total_cmp(&off(b))).filter(|f| off(f) < 0.3)?;
    flat.standing[p].response(dark, share(flat) * saturation)
}

/// The slope of variance over mean.
struct Slope {
    /// DN per electron.
    k: f64,
    /// Coefficient of determination.
    r2: f64,
    /// Standard error of `k` by the flats.
    se: f64,
    /// Change of `k` with the dark frames' variance.
    per_dark: f64,
}

/// Slope through the origin of variance over mean, both above dark, up to `limit`; relative weights, as the variance of a
/// variance is its square. At least three levels.
fn slope(points: &[TransferPoint], dark_variance: f64, limit: f64) -> Option<Slope> {
    let used: Vec<(f64, f64, f64)> = points
        .iter()
        .filter(|q| q.mean_dn <= limit && q.variance_dn2 > 0.0)
        .map(|q| (q.mean_dn, q.variance_dn2 - dark_variance, 1.0 / (q.variance_dn2 * q.variance_dn2)))
        .collect();
    if used.len() < 3 {
        return None;
    }
    let weight: f64 = used.iter().map(|(x, _, w)| w * x * x).sum();
    let k = used.iter().map(|(x, y, w)| w * x * y).sum::<f64>() / weight;
    // A pair's variance is known within sqrt(2 / pixels) of itself; where the points scatter by more, that counts.
    let pixels = points.iter().map(|q| q.pixels as f64).fold(f64::INFINITY, f64::min).max(1.0);
    let counted = 2.0 / pixels;
    let scattered =
        used.iter().map(|(x, y, w)| w * (y - k * x).powi(2)).sum::<f64>() / (used.len() as f64 - 1.0).max(1.0);
    let se = (counted.max(scattered) / weight).sqrt();
    let per_dark = used.iter().map(|(x, _, w)| w * x).sum::<f64>() / weight;
    let mean = used.iter().map(|u| u.1).sum::<f64>() / used.len() as f64;
    let total: f64 = used.iter().map(|u| (u.1 - mean).powi(2)).sum();
    let left: f64 = used.iter().map(|u| (u.1 - k * u.0).powi(2)).sum();
    let r2 = if total > 0.0 { (1.0 - left / total).max(0.0) } else { 0.0 };
    (k.is_finite() && k > 0.0).then_some(Slope { k, r2, se, per_dark })
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
