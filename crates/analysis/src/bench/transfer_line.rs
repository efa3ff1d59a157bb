//! The line of variance over mean through the flats of a plane, and that of mean over exposure time.

use super::photon_transfer::TransferPoint;

/// Pairs whose levels differ by less than this share are repeats of one exposure.
const ONE_LEVEL: f64 = 0.03;

/// The different levels among rising ones: repeats of one exposure count once.
pub(super) fn levels(means: impl Iterator<Item = f64>) -> Vec<f64> {
    means.fold(Vec::new(), |mut levels, mean| {
        if levels.last().is_none_or(|&last| mean > (1.0 + ONE_LEVEL) * last) {
            levels.push(mean);
        }
        levels
    })
}

/// The slope of variance over mean.
pub(super) struct Slope {
    /// DN per electron.
    pub(super) k: f64,
    /// Coefficient of determination.
    pub(super) r2: f64,
    /// Standard error of `k` by the flats.
    pub(super) se: f64,
    /// Change of `k` with the dark frames' variance.
    pub(super) per_dark: f64,
    /// Variance of the points about the line over that which the pixels counted leave.
    pub(super) beyond_chance: f64,
}

/// Slope through the origin of variance over mean, both above dark, up to `limit`; relative weights, as the variance of a
/// variance is its square. At least three levels.
pub(super) fn slope(points: &[TransferPoint], dark_variance: f64, limit: f64) -> Option<Slope> {
    let used: Vec<(f64, f64, f64)> = points
        .iter()
        .filter(|q| q.mean_dn <= limit && q.variance_dn2 > 0.0)
        .map(|q| (q.mean_dn, q.variance_dn2 - dark_variance, 1.0 / (q.variance_dn2 * q.variance_dn2)))
        .collect();
    if levels(used.iter().map(|u| u.0)).len() < 3 {
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
    (k.is_finite() && k > 0.0).then_some(Slope { k, r2, se, per_dark, beyond_chance: scattered / counted })
}

/// Mean deviation from a straight line over exposure time, per cent of the line, weighted relatively (EMVA 1288 release 4).
pub(super) fn linearity(points: &[TransferPoint], saturation: f64) -> Option<f64> {
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
