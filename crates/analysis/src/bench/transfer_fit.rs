//! From pairs of frames to gain, read noise, full well and linearity of a plane.

use super::fixed_pattern::{Known, Standing};
use super::flat_pairs::Pair;
use super::photon_transfer::{SensorChannel, TransferError, TransferPoint};
use super::top_level::{self, Top};
use super::transfer_line::{Slope, levels, linearity, slope};
use crate::measures::histogram::{CODES, Histogram};
use crate::measures::levels::floor_pile;
use crate::measures::rounding::{self, ROUNDING};
use crate::range::{decibels, engineering_ev};

/// Flats up to this share of saturation are fitted (EMVA 1288).
const FITTED_TO: f64 = 0.7;
/// From this share of the dark samples on the lowest code on, the cut end of the noise makes it read more than 0.2 % too small
/// (a normal law cut there).
const CUT: f64 = 0.002;
/// Read noise is told where rounding may move its variance by this share at most.
const HIDDEN: f64 = 0.05;
/// The dark level's rise over declared black is told where, as light, it would make this share of the dark variance; from
/// `MOSTLY_LIT` to `NO_LIGHT` read noise is left open. Beyond, light would be noisier than the frames are: black is off.
const LIT: f64 = 0.2;
const MOSTLY_LIT: f64 = 0.5;
const NO_LIGHT: f64 = 1.15;
/// The line is asked to explain this much (coefficient of determination) where its points scatter by more than `CHANCE` times
/// the variance that the pixels counted leave.
const EXPLAINED: f64 = 0.99;
const CHANCE: f64 = 9.0;
/// Samples from this share of saturation on are taken for full.
const NEAR_FULL: f64 = 0.98;
/// One plane before its saturation is known.
struct Plane<'a> {
    name: &'a str,
    number: usize,
    flats: &'a [Pair],
    dark_dn: f64,
    dark_variance: f64,
    dark_variance_se: f64,
    dark: Standing,
    /// The code on which dark samples pile up because black is cut there, and their share.
    cut: Option<(usize, f64)>,
    /// Flats above dark, rising, and their samples by code.
    points: Vec<TransferPoint>,
    counts: Vec<&'a Histogram>,
    /// DN per electron by the lower half of the levels.
    first_slope: f64,
    top: Top,
}

/// The brightest flat of a plane, by which a refused set is named.
fn brightest(p: usize, flats: &[Pair]) -> &str {
    let brightest = flats.iter().max_by(|a, b| a.points[p].mean_dn.total_cmp(&b.points[p].mean_dn));
    brightest.map_or("no flat", |f| f.name.as_str())
}

/// Too few levels for a line.
fn few(name: &str, p: usize, flats: &[Pair]) -> TransferError {
    let file = brightest(p, flats);
    TransferError(format!(
        "{file} and the darker flats: fewer than three exposures of plane {name} lie between black and {:.0} % of saturation; \
         take more flats, from dark to bright",
        100.0 * FITTED_TO
    ))
}

impl<'a> Plane<'a> {
    fn of(name: &'a str, p: usize, flats: &'a [Pair], darks: &[Pair]) -> Result<Self, TransferError> {
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
        let mut lit: Vec<(TransferPoint, &Histogram)> = flats
            .iter()
            .map(|f| (TransferPoint { mean_dn: f.points[p].mean_dn - dark_dn, ..f.points[p] }, &f.counts[p]))
            .filter(|f| f.0.mean_dn > 0.0)
            .collect();
        lit.sort_by(|a, b| a.0.mean_dn.total_cmp(&b.0.mean_dn));
        let (points, counts): (Vec<_>, Vec<_>) = lit.into_iter().unzip();
        let greatest = points.last().ok_or_else(|| few(name, p, flats))?.mean_dn;
        // A first slope from the lower half of the levels (three at the least) tells the saturated flats from the others.
        let levels = levels(points.iter().map(|q| q.mean_dn));
        let lower = levels.get(2).copied().unwrap_or(0.0).max(0.5 * greatest);
        let first_slope = slope(&points, dark_variance, lower).ok_or_else(|| few(name, p, flats))?.k;
        let dark: Vec<Standing> = darks.iter().map(|d| d.standing[p]).collect();
        let dark = Standing::mean(&dark);
        let dark_sd = dark_variance.sqrt().hypot(dark.all().deviation().map_or(0.0, |d| d.0));
        let cut = darks.iter().filter_map(|d| {
            let counts = &d.counts[p];
            let code = floor_pile(counts)? as usize;
            Some((code, counts.between(code, code + 1) as f64 / counts.total().max(1) as f64))
        });
        let cut = cut.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|cut| cut.1 > CUT);
        let top = top_level::top(&points, &counts, first_slope, (dark_dn, dark_variance, dark_sd));
        Ok(Self {
            name,
            number: p,
            flats,
            dark_dn,
            dark_variance,
            dark_variance_se: counted.max(scattered),
            dark,
            cut,
            points,
            counts,
            first_slope,
            top,
        })
    }

    fn greatest(&self) -> f64 {
        self.points.last().map_or(0.0, |q| q.mean_dn)
    }

    /// The flats without those that hold full photosites: an uneven one may, whatever its mean.
    fn free_of_full(&self, saturation: f64) -> Vec<TransferPoint> {
        let near_full = (self.dark_dn + NEAR_FULL * saturation).round().max(0.0) as usize;
        let full =
            |counts: &Histogram| counts.between(near_full, CODES) as f64 > top_level::PILED * counts.total() as f64;
        self.points.iter().zip(&self.counts).filter(|(_, counts)| !full(counts)).map(|(point, _)| *point).collect()
    }

    /// Saturation, DN above dark, where it comes from, and the level below which it surely lies not.
    fn saturation(
        &self,
        others: Option<f64>,
        white_dn: f64,
        notes: &mut Vec<String>,
    ) -> (Option<f64>, &'static str, f64) {
        let name = self.name;
        match (self.top, others) {
            (Top::Full { level, wholly: true }, _) => (Some(level), "observed", level),
            (_, Some(level)) => {
                notes.push(format!(
                    "{name}: no flat of this plane is full all over; its saturation is taken from the other planes"
                ));
                (Some(level), "neighbours", level)
            }
            (Top::Full { level, wholly: false }, None) => {
                notes.push(format!(
                    "{name}: the brightest flat is not full all over, the full well may be some per cent greater; add two \
                     flats of twice the exposure"
                ));
                (Some(level), "observed", level)
            }
            (Top::Between { last, first }, None) => {
                notes.push(format!(
                    "{name}: no flat is full all over; noise at {:.0} DN is on the line, at {:.0} DN short of it, so that the \
                     full well lies above and is left open; add two flats of twice the exposure",
                    last + self.dark_dn,
                    first + self.dark_dn
                ));
                (None, "unknown", self.greatest())
            }
            (Top::Below, None) => {
                notes.push(format!("{name}: no flat is saturated; the full well is that of the declared white level"));
                (Some(white_dn - self.dark_dn), "declared", white_dn - self.dark_dn)
            }
        }
    }

    /// Read variance and its standard error, DN squared; `None`, with a note, where the dark frames do not tell it.
    fn read_variance(&self, gain: f64, black_dn: f64, notes: &mut Vec<String>) -> Option<(f64, f64)> {
        let name = self.name;
        let variance = self.dark_variance - ROUNDING;
        let (least, most) = rounding::at_one_level(variance);
        let hidden = (most - variance).max(variance - least);
        // Noise of less than a DN piles up on one code by itself, unless that is zero.
        if let Some((code, share)) = self.cut.filter(|cut| cut.0 == 0 || hidden < HIDDEN * variance) {
            notes.push(format!(
                "{name}: black is cut at {code} DN, {:.1} % of the dark samples lie on it, so that read noise is left open; use raw \
                 files with black above zero",
                100.0 * share
            ));
            return None;
        }
        if hidden > HIDDEN * variance.max(0.0) {
            notes.push(format!(
                "{name}: read noise is at most {:.2} DN, {:.2} e-: rounding to whole DN hides how much; measure at a higher ISO",
                most.sqrt(),
                most.sqrt() * gain
            ));
            return None;
        }
        let above_dn = self.dark_dn - black_dn;
        let lit = above_dn / gain / variance;
        let told = format!(
            "{name}: the dark frames lie {above_dn:.1} DN above declared black; as light or dark current that would be {:.0} % \
             of their noise",
            100.0 * lit.min(1.0)
        );
        if (MOSTLY_LIT..NO_LIGHT).contains(&lit) {
            notes.push(format!("{told}, so that read noise is left open; take short ones with the lens covered"));
            return None;
        }
        if (LIT..MOSTLY_LIT).contains(&lit) {
            notes.push(format!("{told}, and read noise less; take short ones with the lens covered"));
        }
        Some((variance, self.dark_variance_se.hypot(hidden)))
    }

    fn channel(
        &self,
        others: Option<f64>,
        (black_dn, white_dn): (f64, f64),
        notes: &mut Vec<String>,
    ) -> Result<SensorChannel, TransferError> {
        let (p, flats) = (self.number, self.flats);
        let (name, dark_dn, dark_variance) = (self.name, self.dark_dn, self.dark_variance);
        let (saturation, from, at_least) = self.saturation(others, white_dn, notes);
        let fitted = saturation.map_or_else(|| self.points.clone(), |s| self.free_of_full(s));
        let Slope { k, r2, se, per_dark, beyond_chance } =
            slope(&fitted, dark_variance, FITTED_TO * at_least).ok_or_else(|| few(name, p, flats))?;
        if r2 < EXPLAINED && beyond_chance > CHANCE {
            let file = brightest(p, flats);
            return Err(TransferError(format!(
                "{file} and the darker flats: the noise of plane {name} does not follow their light (r2 {r2:.2}), as where they show structure and the \
                 camera or the lamp moved within a pair; light a plain surface evenly, out of focus, camera fixed, and take them again"
            )));
        }
        let gain = 1.0 / k;
        // d(gain) = -gain^2 d(k); the dark frames' variance is taken off every flat's, and so moves the slope as one.
        let gain_se = gain * gain * se.hypot(per_dark * self.dark_variance_se);
        let read = self.read_variance(gain, black_dn, notes);
        let read_noise_dn = read.map(|r| r.0.sqrt());
        let read_noise_se_dn = read.map(|r| r.1 / (2.0 * r.0.sqrt()));
        let relative = |r: f64, se: f64| (se / r).hypot(gain_se / gain);
        // A cut black cuts the pattern too.
        let still = |part: Known| part.deviation().filter(|_| self.cut.is_none_or(|cut| cut.0 > 0));
        let dsnu = still(self.dark.all());
        let prnu = response(p, flats, &self.dark, dark_dn, at_least);
        let full_well_e = saturation.map(|s| gain * s);
        Ok(SensorChannel {
            name: name.into(),
            gain_e_per_dn: gain,
            gain_se_e_per_dn: gain_se,
            read_noise_e: read_noise_dn.map(|r| r * gain),
            read_noise_se_e: read_noise_dn.zip(read_noise_se_dn).map(|(r, se)| r * gain * relative(r, se)),
            read_noise_dn,
            read_noise_se_dn,
            full_well_e,
            full_well_se_e: saturation.map(|s| gain_se * s),
            engineering_ev: saturation.zip(read_noise_dn).and_then(|(s, r)| engineering_ev(s, r)),
            engineering_se_ev: saturation
                .and(read_noise_dn.zip(read_noise_se_dn))
                .and_then(|(r, se)| crate::known(se / r / std::f64::consts::LN_2)),
            fit_r2: r2,
            dark_dn,
            saturation_dn: saturation.map(|s| s + dark_dn),
            saturation_from: from,
            snr_max_db: full_well_e.and_then(|e| decibels(e.sqrt())),
            linearity_error_pct: linearity(&self.points, at_least),
            dsnu_e: dsnu.map(|d| d.0 * gain),
            dsnu_se_e: dsnu.map(|d| d.1 * gain),
            dsnu_row_e: still(self.dark.rows()).map(|d| d.0 * gain),
            dsnu_column_e: still(self.dark.columns()).map(|d| d.0 * gain),
            prnu_pct: prnu.map(|r| 100.0 * r.0),
            prnu_se_pct: prnu.map(|r| 100.0 * r.1),
            glow_e: None,
            points: self.points.clone(),
        })
    }
}

/// The sensor as its planes show it; `planes` holds their names, declared black and white levels.
pub(super) fn channels(
    planes: &[(&str, (f64, f64))],
    flats: &[Pair],
    darks: &[Pair],
    notes: &mut Vec<String>,
) -> Result<Vec<SensorChannel>, TransferError> {
    let found: Vec<Plane> =
        planes.iter().enumerate().map(|(p, (name, _))| Plane::of(name, p, flats, darks)).collect::<Result<_, _>>()?;
    let tops: Vec<Top> = found.iter().map(|f| f.top).collect();
    let slopes: Vec<f64> = found.iter().map(|f| f.first_slope).collect();
    found
        .iter()
        .zip(planes)
        .map(|(f, (_, levels))| {
            let others = top_level::of_others(f.number, &tops, &slopes, f.greatest());
            f.channel(others, *levels, notes)
        })
        .collect()
}

/// Spread of the sensitivity by the pair of flats nearest to half of saturation, as a share of the mean.
fn response(p: usize, flats: &[Pair], dark: &Standing, dark_dn: f64, saturation: f64) -> Option<(f64, f64)> {
    let share = |f: &Pair| (f.points[p].mean_dn - dark_dn) / saturation;
    let off = |f: &Pair| (share(f) - 0.5).abs();
    let flat = flats.iter().min_by(|a, b| off(a).total_cmp(&off(b))).filter(|f| off(f) < 0.3)?;
    flat.standing[p].response(dark, share(flat) * saturation)
}
