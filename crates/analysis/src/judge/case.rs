//! One frame before one brief: what the rules look at.

use rawassay_decode::{Area, Shot};

use super::{FindingCode, IfAccepted, LargestPrint, PrintFit, Severity, Subject, rules};
use crate::brief::{Brief, MM_PER_INCH, Need};
use crate::measures::{BlurKind, Channel, Measures};
use crate::print::{self, Aspect, Brings, Fit, OnPaper, Unknown};
use crate::{crop, known, lift, optics, range};

/// A frame, a brief and a crop, with the picture fitted into the brief's output.
#[derive(Clone, Copy)]
pub(crate) struct Case<'a> {
    pub(crate) shot: Option<&'a Shot>,
    pub(crate) measures: Option<&'a Measures>,
    pub(crate) damaged: Option<&'a str>,
    pub(crate) brief: &'a Brief,
    /// The crop, where it lies inside the picture and is not the whole of it.
    pub(crate) crop: Option<Area>,
    /// True where a crop was asked for that lies outside the picture.
    pub(crate) crop_outside: bool,
    /// Columns and rows of the picture as stored.
    pub(crate) picture_px: Option<(usize, usize)>,
    pub(crate) paper: OnPaper<'a>,
    pub(crate) fit: Option<Fit>,
}

impl<'a> Case<'a> {
    pub(crate) fn new(subject: &Subject<'a>, brief: &'a Brief, asked: Option<Area>) -> Self {
        let Subject { shot, measures, damaged } = *subject;
        let picture_px = measures
            .map(|m| (m.active_px[2], m.active_px[3]))
            .or_else(|| shot.map(|s| (s.width_px, s.height_px)))
            .filter(|(w, h)| *w > 0 && *h > 0);
        let crop_outside = match (asked, picture_px) {
            (Some(area), Some((w, h))) => !crop::inside(&area, w, h),
            (Some(_), None) => true,
            (None, _) => false,
        };
        let crop =
            asked.filter(|area| !crop_outside && picture_px.is_some_and(|(w, h)| (area.width, area.height) != (w, h)));
        let brings = if crop_outside { Brings::default() } else { brings(shot, measures, picture_px, crop) };
        let paper = OnPaper { brings, brief, seen: print::seen(&brief.output) };
        let fit = print::fit_output(&paper.brings, &brief.output);
        let mut case = Self { shot, measures, damaged, brief, crop, crop_outside, picture_px, paper, fit };
        case.paper.brings.pixel_sharp = rules::soft::pixel_sharp(&case);
        case
    }

    /// The same frame at another resolution, and so another size.
    pub(crate) fn at(&self, ppi: f64) -> Self {
        let brings = &self.paper.brings;
        let mm = |px: f64| px / ppi * MM_PER_INCH;
        let width_limits = self.fit.is_none_or(|f| f.width_limits);
        let fit = Fit { ppi, width_mm: mm(brings.width_px), height_mm: mm(brings.height_px), width_limits };
        Self { fit: Some(fit), ..*self }
    }

    /// The same frame under another brief, at the size that it has now.
    pub(crate) fn under<'b>(&self, brief: &'b Brief) -> Case<'b>
    where
        'a: 'b,
    {
        let paper = OnPaper { brings: self.paper.brings, brief, seen: print::seen(&brief.output) };
        Case { brief, paper, ..*self }
    }

    /// How bad highlights, shadows, bands or a damage are at this size, and which of them is worst.
    pub(crate) fn tones(&self) -> Option<(Severity, FindingCode)> {
        let damaged = self.damaged.map(|_| Severity::Fails);
        let graded = [
            (damaged, FindingCode::Damaged),
            (rules::blown::grade(self), FindingCode::Blown),
            (rules::blocked::grade(self), FindingCode::Blocked),
            (rules::banded::grade(self), FindingCode::Banded),
        ];
        let graded = graded.into_iter().filter_map(|(severity, code)| Some((severity?, code)));
        // The first of equals.
        graded.rev().max_by_key(|(severity, _)| *severity)
    }

    /// Resolution of the smallest print that is worth one: the tones are not looked at in smaller ones, where any patch is
    /// a speck.
    fn most_ppi(&self) -> f64 {
        self.paper.brings.width_px.max(self.paper.brings.height_px) / LEAST_LONG_SIDE_IN
    }

    /// The code of the tones that fail at a resolution.
    fn spoiled_at(&self, ppi: f64) -> Option<FindingCode> {
        self.at(ppi.min(self.most_ppi())).tones().filter(|t| t.0 == Severity::Fails).map(|t| t.1)
    }

    /// A largest print by size, as far as the tones allow it: a blown patch grows with the print, so that a smaller one
    /// may do; blocked shadows and damage are no better in a smaller one, bands are worse.
    pub(crate) fn within_tones(&self, by_size: LargestPrint) -> Option<LargestPrint> {
        let Some(code) = self.spoiled_at(by_size.ppi) else { return Some(by_size) };
        let (width, height) = (self.paper.brings.width_px, self.paper.brings.height_px);
        let (mut low, mut high) = (by_size.ppi, self.most_ppi());
        if code != FindingCode::Blown || high <= low || self.spoiled_at(high).is_some() {
            return None;
        }
        for _ in 0..40 {
            let middle = (low * high).sqrt();
            if self.spoiled_at(middle).is_some() { low = middle } else { high = middle }
        }
        Some(LargestPrint {
            width_in: width / high,
            height_in: height / high,
            ppi: high,
            limited_by: tone_word(code).into(),
        })
    }

    /// The largest print that prints (`fails` false) or does not fail.
    pub(crate) fn largest(&self, fails: bool) -> Option<LargestPrint> {
        self.within_tones(self.paper.largest(fails)?)
    }

    /// The largest print for whoever accepts what spoils the tones; `None` where nothing has to be accepted, or where
    /// the file is damaged.
    pub(crate) fn if_accepted(&self, by_size: Option<LargestPrint>) -> Option<IfAccepted> {
        let LargestPrint { width_in, height_in, ppi, .. } = by_size?;
        let code = self.spoiled_at(ppi).filter(|code| *code != FindingCode::Damaged)?;
        Some(IfAccepted { what: tone_word(code).into(), width_in, height_in, ppi })
    }

    /// True where there is nothing to judge.
    pub(crate) fn unreadable(&self) -> bool {
        self.measures.is_none() || self.crop_outside || self.fit.is_none()
    }

    /// Resolution at the brief's size.
    pub(crate) fn ppi(&self) -> Option<f64> {
        self.fit.map(|f| f.ppi)
    }

    /// How bad an aspect is at the brief's size; `None` within the limits or unknown.
    pub(crate) fn grade(&self, aspect: Aspect) -> Option<Severity> {
        self.ppi().and_then(|ppi| self.paper.grade(aspect, ppi).ok().flatten())
    }

    /// Picture pixels to millimetres on the paper at the brief's size.
    pub(crate) fn mm(&self, px: f64) -> Option<f64> {
        self.ppi().and_then(|ppi| known(px * MM_PER_INCH / ppi))
    }

    /// An aspect's value at the brief's size.
    pub(crate) fn value(&self, aspect: Aspect) -> Option<f64> {
        self.ppi().and_then(|ppi| self.paper.value(aspect, ppi))
    }

    /// Area of the picture on the paper, cm2.
    pub(crate) fn paper_cm2(&self) -> Option<f64> {
        self.fit.and_then(|f| known(f.width_mm * f.height_mm / 100.0))
    }

    pub(crate) fn blur_kind(&self) -> BlurKind {
        self.measures.map_or(BlurKind::Undetermined, |m| m.blur.kind)
    }

    /// 10-90 % rise of diffraction alone, pixels: as measured for, else from the f-number and pitch.
    pub(crate) fn diffraction_px(&self) -> Option<f64> {
        self.measures.and_then(|m| m.blur.expected_diffraction_px).and_then(known).or_else(|| {
            let shot = self.shot?;
            known(optics::diffraction_rise_um(shot.f_number?) / shot.pixel_pitch_um?)
        })
    }

    fn is_unknown(&self, need: Need) -> bool {
        let aspect = |aspect| self.ppi().is_none_or(|ppi| matches!(self.paper.grade(aspect, ppi), Err(Unknown)));
        match need {
            Need::Sharpness => aspect(Aspect::Sharpness),
            Need::Motion => aspect(Aspect::Motion),
            Need::Noise => aspect(Aspect::Noise),
            Need::Shadows => super::rules::blocked::floor_pct(self).is_none(),
            Need::Banding => super::rules::banded::ratio(self).is_none(),
        }
    }

    /// True where something without which the brief lets no frame pass is unknown.
    pub(crate) fn lacks_what_is_needed(&self) -> bool {
        self.brief.needs.iter().any(|need| self.is_unknown(*need))
    }

    /// What could not be measured, one line each; what the brief needs first.
    pub(crate) fn not_measured(&self) -> Vec<String> {
        if self.measures.is_none() {
            return vec!["everything: the file could not be read".into()];
        }
        if self.crop_outside {
            let size = self.picture_px.map_or("unknown size".into(), |(w, h)| format!("{w} x {h} px as stored"));
            return vec![format!("everything: the crop lies outside the picture ({size})")];
        }
        if self.fit.is_none() {
            return vec!["everything: the picture has no size".into()];
        }
        let mut lines: Vec<(bool, String)> = Need::ALL
            .into_iter()
            .filter(|need| self.is_unknown(*need))
            .map(|need| {
                let needed = self.brief.needs.contains(&need);
                let inside = if self.crop.is_some() && need == Need::Sharpness { " in the crop" } else { "" };
                let why = if needed { ", which this brief needs" } else { "" };
                (needed, format!("{}{inside}{why}", need.word()))
            })
            .collect();
        lines.sort_by_key(|(needed, _)| !needed);
        lines.into_iter().map(|(_, line)| line).collect()
    }

    /// Range from saturation to the tone that has the brief's shadow SNR on the paper, EV.
    pub(crate) fn usable_ev(&self) -> Option<f64> {
        let channel = green(self.measures?)?;
        let averaged = print::pixels_averaged(self.paper.seen.finest_mm, self.ppi()?);
        range::usable_range_ev(channel, self.brief.limits.shadow_snr, averaged)
    }

    /// How far the darkest half per cent of the scene lies inside the usable range, EV; negative: below it.
    pub(crate) fn shadow_room_ev(&self) -> Option<f64> {
        known(self.usable_ev()? - self.measures?.exposure.darkest_ev?)
    }

    /// The frame at the brief's size, for the scorecard.
    pub(crate) fn print_fit(&self) -> PrintFit {
        let seen = self.paper.seen;
        let mut print = PrintFit {
            eye_limit_mm: known(seen.eye_limit_mm),
            finest_mm: known(seen.finest_mm),
            ..PrintFit::default()
        };
        if self.fit.is_some() {
            print.ppi = self.ppi().and_then(known);
            print.rise_mm = self.paper.brings.rise_px.and_then(|px| self.mm(px));
            print.motion_mm = self.paper.brings.motion_px.and_then(|px| self.mm(px));
            print.snr_midtone = self.value(Aspect::Noise);
            print.snr_lifted = self.ppi().and_then(|ppi| self.paper.snr(self.paper.brings.snr_lifted_px, ppi));
            print.largest = self.largest(false);
            print.largest_with_proof = self.largest(true);
            print.if_accepted = self.if_accepted(self.paper.largest(false));
        }
        print
    }
}

/// Long side of the smallest print that is worth one, inches.
const LEAST_LONG_SIDE_IN: f64 = 4.0;

/// What spoils the tones, as it stands in `limited_by`.
pub(crate) fn tone_word(code: FindingCode) -> &'static str {
    match code {
        FindingCode::Blown => "highlights",
        FindingCode::Blocked => "shadows",
        FindingCode::Banded => "banding",
        _ => "damage",
    }
}

/// The green plane, or the first where there is none.
pub(crate) fn green(measures: &Measures) -> Option<&Channel> {
    measures.channels.iter().find(|c| c.name.starts_with('G')).or_else(|| measures.channels.first())
}

/// A usable positive reading.
fn positive(value: Option<f64>) -> Option<f64> {
    value.and_then(known).filter(|v| *v > 0.0)
}

fn brings(
    shot: Option<&Shot>,
    measures: Option<&Measures>,
    picture_px: Option<(usize, usize)>,
    crop: Option<Area>,
) -> Brings {
    let Some((width, height)) = crop.map(|c| (c.width, c.height)).or(picture_px) else {
        return Brings::default();
    };
    let (mut width_px, mut height_px) = (width as f64, height as f64);
    if shot.is_some_and(|s| s.orientation.swaps_sides()) {
        (width_px, height_px) = (height_px, width_px);
    }
    let Some(m) = measures else {
        return Brings { width_px, height_px, ..Brings::default() };
    };
    let rise_px = match crop {
        None => positive(m.sharpness.edge_rise_px),
        Some(crop) => rise_in(m, &crop),
    };
    let motion_px = match m.blur.kind {
        BlurKind::None | BlurKind::Defocus => Some(0.0),
        BlurKind::Motion | BlurKind::Mixed => positive(m.blur.motion_px),
        BlurKind::Undetermined => None,
    };
    let ratio = |db: Option<f64>| db.and_then(known).map(|db| 10f64.powf(db / 20.0)).and_then(known);
    let snr_px = ratio(m.noise.snr_midtone_db.or_else(|| green(m).and_then(|c| c.snr_midtone_db)));
    let lifted = ratio(m.noise.snr_lifted_db);
    // Where the lifted tone is unknown the frame counts as metered.
    let lift_ev = positive(m.exposure.lift_ev).filter(|_| lifted.is_some()).unwrap_or(0.0);
    let least_ev = (lift_ev - lift::DARK_PICTURE_EV).max(0.0);
    let snr_least_lifted_px = match (snr_px, lifted) {
        (Some(metered), Some(lifted)) => known(lift::between(metered, lifted, lift_ev, least_ev)),
        // By photon noise alone, from the tone that is known.
        (None, Some(lifted)) => known(lifted * (0.5 * (lift_ev - least_ev)).exp2()),
        (metered, None) => metered,
    };
    Brings {
        width_px,
        height_px,
        rise_px,
        motion_px,
        pixel_sharp: false,
        snr_px,
        lift_ev,
        snr_lifted_px: lifted.or(snr_px),
        snr_least_lifted_px,
    }
}

/// Share of a tile (column, row of a `cols` x `rows` map over the picture) that lies in the crop, 0..1.
pub(crate) fn tile_share(
    (col, row): (usize, usize),
    (cols, rows): (usize, usize),
    (width, height): (usize, usize),
    crop: &Area,
) -> f64 {
    let overlap = |at: usize, count: usize, side: usize, first: usize, len: usize| {
        let size = side as f64 / count as f64;
        let (low, high) = (at as f64 * size, (at + 1) as f64 * size);
        let inside = high.min((first + len) as f64) - low.max(first as f64);
        (inside / size).clamp(0.0, 1.0)
    };
    overlap(col, cols, width, crop.x, crop.width) * overlap(row, rows, height, crop.y, crop.height)
}

/// Edge rise in a crop: the lower quartile of the tiles that lie in it by half or more (of those that touch it, where
/// the crop is smaller than that), as the whole frame's is that of its sharpest quarter.
fn rise_in(m: &Measures, crop: &Area) -> Option<f64> {
    let map = &m.sharpness.map;
    if map.cols == 0 || map.rows == 0 || map.rise_px.len() != map.cols * map.rows {
        return None;
    }
    let picture = (m.active_px[2], m.active_px[3]);
    let tiles: Vec<(f64, f64)> = map
        .rise_px
        .iter()
        .enumerate()
        .filter_map(|(i, rise)| {
            let share = tile_share((i % map.cols, i / map.cols), (map.cols, map.rows), picture, crop);
            positive(*rise).filter(|_| share > 0.0).map(|rise| (share, rise))
        })
        .collect();
    let half: Vec<f64> = tiles.iter().filter(|(share, _)| *share >= 0.5).map(|(_, rise)| *rise).collect();
    let mut rises = if half.is_empty() { tiles.into_iter().map(|(_, rise)| rise).collect() } else { half };
    rises.sort_by(f64::total_cmp);
    rises.get(rises.len().saturating_sub(1) / 4).copied()
}
