//! Bursts: frames of one framing and exposure in quick succession, and which of them is technically best.
//!
//! Ranked as for a print: by blur on the paper, in all directions, so that motion counts in full. A frame whose
//! highlights or shadows the brief calls lost stands behind one that is better in all by the brief, one that it calls
//! borderline behind such a one that is hardly softer. Only where two frames are equally sharp as far as that can be
//! measured do clipping and noise below the brief's limits decide.

use serde::Serialize;

use super::{Placed, same_framing};
use crate::view::file_name;
use crate::{BlurKind, FindingCode, FrameView, Outcome, Severity};

/// Longest pause within a burst, seconds.
pub(super) const GAP_S: f64 = 2.0;
/// Exposures this near are one exposure, EV: automatic exposure drifts by a third.
const SAME_EV: f64 = 0.4;
/// Blur within this ratio of the best is as good, however well the edges tell it.
const AS_SHARP: f64 = 1.01;
/// ... and within this ratio where they tell it badly.
const AS_SHARP_AT_MOST: f64 = 1.05;
/// Standard errors of one frame's rise by which two frames differ for certain: 2 sqrt(2).
const ERRORS: f64 = 2.83;
/// Clipped areas within this ratio are one, and so are those below the least, per cent of the frame: a frame just over
/// a limit is not worse than one just below it.
const SAME_CLIPPING: f64 = 1.5;
const LEAST_CLIPPING_PCT: f64 = 0.05;
/// Blur that is given for highlights or shadows which the brief calls borderline; where it calls them lost, any that
/// the brief does not fail (own choice: a tenth is about what the eye sees on two prints side by side).
const WORTH_HIGHLIGHTS: f64 = 1.1;
/// 10-90 % rise of straight motion across an edge, over its length (closed form).
const MOTION_RISE: f64 = 0.8;

/// Frames of nearly the same picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Burst {
    /// Files in the order taken.
    pub files: Vec<String>,
    /// The technically best; `None` where no frame's sharpness could be measured.
    pub best: Option<String>,
    /// Every file, best first.
    pub ranking: Vec<Ranked>,
    /// From the first to the last frame, seconds, by the camera's clock.
    pub span_s: Option<f64>,
}

/// One frame's place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ranked {
    /// The file.
    pub file: String,
    /// From 1.
    pub rank: usize,
    /// Its outcome for the brief.
    pub outcome: Outcome,
    /// Edge rise over all directions, motion included, pixels: what the ranking goes by.
    pub blur_px: Option<f64>,
    /// The same on the paper, mm.
    pub print_blur_mm: Option<f64>,
    /// Why it stands there.
    pub reason: String,
}

/// Finds the bursts in a run without brackets.
pub(super) fn find(run: &[Placed<'_, '_>], bursts: &mut Vec<Burst>) {
    let mut from = 0;
    for at in 1..=run.len() {
        if at < run.len() && goes_on(&run[at - 1], &run[at]) {
            continue;
        }
        if at - from >= 2 {
            bursts.push(rank(&run[from..at]));
        }
        from = at;
    }
}

/// Whether `next` belongs to the burst of `last`: soon after, exposed alike, same framing.
fn goes_on(last: &Placed<'_, '_>, next: &Placed<'_, '_>) -> bool {
    let soon = match last.pause_s(next) {
        Some(pause) => pause <= GAP_S,
        None => last.clock.is_none() && next.clock.is_none(),
    };
    let alike = match (last.exposed(), next.exposed()) {
        (Some(a), Some(b)) => {
            (a.light_ev - b.light_ev).abs() < SAME_EV
                && (a.gain_ev - b.gain_ev).abs() < SAME_EV
                && (a.stop_ev - b.stop_ev).abs() < 0.2
        }
        (None, None) => true,
        _ => false,
    };
    soon && alike && same_framing(last, next)
}

/// What a frame is ranked by.
struct Entry<'f, 'a> {
    frame: &'f FrameView<'a>,
    blur_px: Option<f64>,
    /// Standard error of the blur, ratio.
    error: f64,
    /// Worst of blur's findings: 0 none, 1 borderline, 2 fails.
    blurred: u8,
    /// The same of lost highlights and shadows, with the worse code.
    lost: u8,
    lost_code: Option<FindingCode>,
    clipped_pct: f64,
    snr_db: Option<f64>,
}

impl<'f, 'a> Entry<'f, 'a> {
    fn new(frame: &'f FrameView<'a>, common: &[usize]) -> Self {
        let sharpness = &frame.measures.sharpness;
        let worst = |codes: &[FindingCode]| {
            let found = frame.judgement.verdict.findings.iter().filter(|f| codes.contains(&f.code));
            found
                .filter(|f| f.severity >= Severity::Borderline)
                .max_by_key(|f| f.severity)
                .map(|f| (f.severity, f.code))
        };
        let rank = |found: Option<(Severity, FindingCode)>| match found {
            Some((Severity::Fails, _)) => 2,
            Some(_) => 1,
            None => 0,
        };
        let lost = worst(&[FindingCode::Blown, FindingCode::Blocked, FindingCode::Damaged]);
        Self {
            frame,
            blur_px: blur_px(frame, common),
            error: sharpness.edge_rise_spread_px.zip(sharpness.edge_rise_px).map_or(0.0, |(error, rise)| error / rise),
            blurred: rank(worst(&[FindingCode::Soft, FindingCode::Shaken, FindingCode::Diffracted])),
            lost: rank(lost),
            lost_code: lost.map(|l| l.1),
            clipped_pct: frame.measures.exposure.clipped_any_pct,
            snr_db: frame.measures.noise.snr_midtone_db,
        }
    }

    fn fault(&self) -> u8 {
        self.blurred.max(self.lost)
    }

    /// Whether this frame's lost tones weigh more than all that is wrong with the other.
    fn loses_to(&self, other: &Self) -> bool {
        let clearly = self.lost_code != Some(FindingCode::Blown)
            || self.clipped_pct > SAME_CLIPPING * other.clipped_pct.max(LEAST_CLIPPING_PCT);
        let at_what_price = if self.lost == 2 { f64::INFINITY } else { WORTH_HIGHLIGHTS * self.blur() };
        self.lost > other.lost && self.fault() > other.fault() && clearly && other.blur() <= at_what_price
    }

    fn blur(&self) -> f64 {
        self.blur_px.unwrap_or(f64::MAX)
    }

    /// Class of the clipped area; areas of one class do not differ to the eye.
    fn clipping_class(&self) -> i32 {
        (self.clipped_pct.max(LEAST_CLIPPING_PCT) / LEAST_CLIPPING_PCT).log(SAME_CLIPPING).round() as i32
    }

    /// Noise in steps of one decibel, less first.
    fn noise_class(&self) -> i32 {
        self.snr_db.map_or(i32::MAX, |snr| -(snr.round() as i32))
    }

    /// Blur up to which another frame is as sharp as this one.
    fn as_sharp_px(&self) -> f64 {
        self.blur() * (1.0 + ERRORS * self.error).clamp(AS_SHARP, AS_SHARP_AT_MOST)
    }
}

fn rank(burst: &[Placed<'_, '_>]) -> Burst {
    let common: Vec<usize> = (0..12)
        .filter(|&bin| {
            let mut told = burst.iter().filter(|p| p.frame.measures.sharpness.edge_rise_px.is_some()).peekable();
            told.peek().is_some() && told.all(|p| p.frame.measures.sharpness.rise_by_direction_px[bin].is_some())
        })
        .collect();
    let mut left: Vec<Entry<'_, '_>> = burst.iter().map(|placed| Entry::new(placed.frame, &common)).collect();
    let mut order: Vec<Entry<'_, '_>> = Vec::with_capacity(left.len());
    while !left.is_empty() {
        order.push(left.remove(next_best(&left)));
    }
    let best = order.first().filter(|e| e.blur_px.is_some());
    let ranking = order.iter().enumerate().map(|(i, entry)| ranked(entry, i, &order)).collect();
    let span_s = burst.first().and_then(|p| p.clock).zip(burst.last().and_then(|p| p.clock));
    Burst {
        files: burst.iter().map(|p| p.frame.file.to_string()).collect(),
        best: best.map(|e| e.frame.file.to_string()),
        ranking,
        span_s: span_s.map(|(a, b)| b.seconds - a.seconds),
    }
}

/// Blur over all directions: the root mean square of the rise over the directions that every frame of the burst has, so
/// that frames compare on the same edges; else the sharpest quarter's rise and the motion together.
///
/// Each direction counts with the median of itself and its neighbours: motion widens many directions in a row, a single
/// wide one is a few soft edges of the scene.
fn blur_px(frame: &FrameView<'_>, common: &[usize]) -> Option<f64> {
    let sharpness = &frame.measures.sharpness;
    let rise = sharpness.edge_rise_px?;
    if common.len() >= 3 {
        let at = |bin: usize| sharpness.rise_by_direction_px[bin].filter(|_| common.contains(&bin));
        let smooth = |bin: usize| {
            let mut near: Vec<f64> = [(bin + 11) % 12, bin, (bin + 1) % 12].into_iter().filter_map(at).collect();
            near.sort_by(f64::total_cmp);
            near.get((near.len() - 1) / 2).copied()
        };
        let squares: f64 = common.iter().filter_map(|&bin| smooth(bin)).map(|r| r * r).sum();
        return Some((squares / common.len() as f64).sqrt());
    }
    let moved = matches!(frame.measures.blur.kind, BlurKind::Motion | BlurKind::Mixed);
    let motion = frame.measures.blur.motion_px.filter(|_| moved).unwrap_or(0.0);
    Some(rise.hypot(MOTION_RISE * motion))
}

/// The sharpest frame; where it lost tones by the brief, the sharpest of those that lost clearly less and stand better
/// with the brief in all. Of the frames as sharp as that one, the one with the least clipping, then the least noise,
/// then the least blur.
fn next_best(left: &[Entry<'_, '_>]) -> usize {
    let sharpest_of = |pool: &[usize]| pool.iter().copied().min_by(|&a, &b| left[a].blur().total_cmp(&left[b].blur()));
    let mut pool: Vec<usize> = (0..left.len()).filter(|&i| left[i].blur_px.is_some()).collect();
    let Some(mut sharpest) = sharpest_of(&pool) else {
        let by_fault = (0..left.len()).min_by_key(|&i| (left[i].fault(), left[i].clipping_class()));
        return by_fault.unwrap_or(0);
    };
    let lost = &left[sharpest];
    let kept: Vec<usize> = pool.iter().copied().filter(|&i| lost.loses_to(&left[i])).collect();
    if let Some(least) = kept.iter().map(|&i| left[i].fault()).min() {
        pool = kept.into_iter().filter(|&i| left[i].fault() == least).collect();
        sharpest = sharpest_of(&pool).unwrap_or(sharpest);
    }
    let within = left[sharpest].as_sharp_px();
    let equal = pool.into_iter().filter(|&i| left[i].blur() <= within);
    equal
        .min_by(|&a, &b| {
            let (a, b) = (&left[a], &left[b]);
            let classes = |e: &Entry<'_, '_>| (e.clipping_class(), e.noise_class());
            classes(a).cmp(&classes(b)).then(a.blur().total_cmp(&b.blur()))
        })
        .unwrap_or(sharpest)
}

fn mm(frame: &FrameView<'_>, px: Option<f64>) -> Option<f64> {
    let ppi = frame.judgement.print.ppi.filter(|p| *p > 0.0)?;
    Some(px? * 25.4 / ppi)
}

/// What a frame lost of the tones, in words.
fn lost_text(entry: &Entry<'_, '_>) -> String {
    match entry.lost_code {
        Some(FindingCode::Blown) => format!("its highlights are blown ({:.1} % clipped)", entry.clipped_pct),
        Some(FindingCode::Blocked) => "its shadows are blocked".to_string(),
        _ => "it is damaged".to_string(),
    }
}

/// The reason in words, against the best.
fn ranked(entry: &Entry<'_, '_>, index: usize, order: &[Entry<'_, '_>]) -> Ranked {
    let reason = match (entry.blur_px, index) {
        (None, _) => "Sharpness could not be measured.".to_string(),
        (Some(_), 0) => best_reason(entry, &order[1..]),
        (Some(_), _) => other_reason(entry, &order[0]),
    };
    Ranked {
        file: entry.frame.file.to_string(),
        rank: index + 1,
        outcome: entry.frame.judgement.verdict.outcome,
        blur_px: entry.blur_px,
        print_blur_mm: mm(entry.frame, entry.blur_px),
        reason,
    }
}

fn best_reason(best: &Entry<'_, '_>, others: &[Entry<'_, '_>]) -> String {
    let shown = match (mm(best.frame, best.blur_px), best.blur_px) {
        (Some(mm), _) => format!("{mm:.2} mm on the paper"),
        (None, Some(px)) => format!("{px:.2} px"),
        (None, None) => "unknown".to_string(),
    };
    let mut told: Vec<&Entry<'_, '_>> = others.iter().filter(|e| e.blur_px.is_some()).collect();
    told.sort_by(|a, b| a.blur().total_cmp(&b.blur()));
    let Some(sharpest) = told.first() else {
        return format!("The only one whose sharpness could be measured: edges rise over {shown}.");
    };
    let near = sharpest.as_sharp_px().min(best.as_sharp_px());
    if best.blur() > sharpest.as_sharp_px() {
        let softer = 100.0 * (best.blur() / sharpest.blur() - 1.0);
        let name = file_name(sharpest.frame.file);
        return format!("{name} is {softer:.0} % sharper, but {}; here edges rise over {shown}.", lost_text(sharpest));
    }
    if sharpest.blur() > near {
        return format!("Sharpest, motion included: edges rise over {shown}.");
    }
    let rival = &others[0];
    let so = if best.clipping_class() < rival.clipping_class() {
        "fewer clipped highlights"
    } else if best.noise_class() < rival.noise_class() {
        "less noise"
    } else if best.fault() < rival.fault() {
        "nothing lost in highlights and shadows"
    } else {
        "slightly sharper"
    };
    format!("As sharp as {} within what can be measured ({shown}); {so}.", file_name(rival.frame.file))
}

fn other_reason(entry: &Entry<'_, '_>, best: &Entry<'_, '_>) -> String {
    let ratio = entry.blur() / best.blur();
    let blur = &entry.frame.measures.blur;
    let cause = match blur.kind {
        BlurKind::Motion | BlurKind::Mixed if blur.motion_px.is_some() => {
            format!(", moved by {:.1} px", blur.motion_px.unwrap_or(0.0))
        }
        BlurKind::Defocus => ", focus missed".to_string(),
        _ => String::new(),
    };
    if entry.blur() > best.as_sharp_px() {
        let lost = if entry.lost > best.lost { format!("; {}", lost_text(entry)) } else { String::new() };
        format!("{:.0} % softer than the best{cause}{lost}.", 100.0 * (ratio - 1.0))
    } else if entry.fault() > best.fault() && entry.lost_code.is_some() {
        let sharp = if best.blur() > entry.as_sharp_px() {
            format!("{:.0} % sharper", 100.0 * (1.0 / ratio - 1.0))
        } else {
            "As sharp".to_string()
        };
        format!("{sharp}, but {}.", lost_text(entry))
    } else if entry.clipping_class() > best.clipping_class() {
        format!("As sharp, but {:.1} % clipped against {:.1} %.", entry.clipped_pct, best.clipped_pct)
    } else if entry.noise_class() > best.noise_class() {
        "As sharp, but noisier.".to_string()
    } else {
        "As good as the best within what can be measured.".to_string()
    }
}
