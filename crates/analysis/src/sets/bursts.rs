//! Bursts: frames of one framing and exposure in quick succession, and which of them is technically best.
//!
//! Ranked as for a print: by blur on the paper, in all directions, so that motion counts in full. A frame whose
//! highlights or shadows the brief calls lost stands behind one that is better in all by the brief, one that it calls
//! borderline behind such a one that is hardly softer. Only where two frames are equally sharp as far as that can be
//! measured do clipping and noise below the brief's limits decide.

use serde::Serialize;

use super::order::{Standing, best_first};
use super::{Placed, likeness, same_framing};
use crate::series::telling::moved;
use crate::view::file_name;
use crate::{BlurKind, FindingCode, FrameRow, Outcome, Severity};

/// Longest pause within a burst, seconds.
pub(super) const GAP_S: f64 = 2.0;
/// Exposures this near are one exposure, EV: automatic exposure drifts by a third.
const SAME_EV: f64 = 0.4;
/// The same where it is told by the pictures alone.
const SEEN_SAME_EV: f64 = 0.5;
/// Blur within this ratio of the best is as good, however well the edges tell it.
const AS_SHARP: f64 = 1.01;
/// ... and within this ratio where they tell it badly.
const AS_SHARP_AT_MOST: f64 = 1.05;
/// Standard errors of one frame's rise by which two frames of one scene differ for certain: 2 sqrt(2) of the three tenths that
/// they do not share.
const ERRORS: f64 = 0.85;
/// Share of the tiles that must be clearly sharper in the one frame, and in the other, for the focus to have moved.
const MOVED_SHARE: f64 = 0.1;
/// 10-90 % rise of straight motion across an edge, over its length (closed form).
const MOTION_RISE: f64 = 0.8;

/// Frames of nearly the same picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Burst {
    /// Files in the order taken.
    pub files: Vec<String>,
    /// The technically best; `None` where no frame's sharpness could be measured.
    pub best: Option<String>,
    /// True where other parts of the picture are clearly sharper in another frame: a focus stack, perhaps. Then the best is the
    /// sharpest where it is sharp, and others may hold the part that matters.
    pub focus_moved: bool,
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
pub(super) fn find(run: &[Placed<'_>], bursts: &mut Vec<Burst>) {
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
fn goes_on(last: &Placed<'_>, next: &Placed<'_>) -> bool {
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
        // Without settings the pictures tell: they may be a bracket, of which none is best.
        (None, None) => likeness::compare(&last.frame.likeness, &next.frame.likeness)
            .is_none_or(|seen| seen.brighter_ev.abs() < SEEN_SAME_EV),
        _ => false,
    };
    soon && alike && same_framing(last, next, None)
}

/// A frame of a burst, with what it is ranked by.
struct Entry<'f> {
    frame: &'f FrameRow,
    lost_code: Option<FindingCode>,
    standing: Standing,
}

impl std::ops::Deref for Entry<'_> {
    type Target = Standing;

    fn deref(&self) -> &Standing {
        &self.standing
    }
}

impl<'f> Entry<'f> {
    fn new(frame: &'f FrameRow, common: &[usize]) -> Self {
        let worst = |codes: &[FindingCode]| {
            let found = frame.findings.iter().filter(|f| codes.contains(&f.0) && f.1 >= Severity::Borderline);
            found.max_by_key(|f| f.1).map(|f| (f.1, f.0))
        };
        let rank = |found: Option<(Severity, FindingCode)>| match found {
            Some((Severity::Fails, _)) => 2,
            Some(_) => 1,
            None => 0,
        };
        let lost = worst(&[FindingCode::Blown, FindingCode::Blocked, FindingCode::Damaged]);
        let lost_code = lost.map(|l| l.1);
        let blur_px = blur_px(frame, common);
        let error = frame.edge_rise_spread_px().zip(frame.edge_rise_px()).map_or(0.0, |(error, rise)| error / rise);
        let standing = Standing {
            blur_px,
            as_sharp_px: blur_px.unwrap_or(f64::MAX) * (1.0 + ERRORS * error).clamp(AS_SHARP, AS_SHARP_AT_MOST),
            blurred: rank(worst(&[FindingCode::Soft, FindingCode::Shaken, FindingCode::Diffracted])),
            lost: rank(lost),
            blown: lost_code == Some(FindingCode::Blown),
            clipped_pct: frame.clipped_any_pct,
            snr_db: frame.snr_midtone_db(),
        };
        Self { frame, lost_code, standing }
    }
}

fn rank(burst: &[Placed<'_>]) -> Burst {
    let common: Vec<usize> = (0..12)
        .filter(|&bin| {
            let mut told = burst.iter().filter(|p| p.frame.edge_rise_px().is_some()).peekable();
            told.peek().is_some() && told.all(|p| p.frame.rise_by_direction_px(bin).is_some())
        })
        .collect();
    let entries: Vec<Entry<'_>> = burst.iter().map(|placed| Entry::new(placed.frame, &common)).collect();
    let standings: Vec<Standing> = entries.iter().map(|e| e.standing).collect();
    let mut taken: Vec<Option<Entry<'_>>> = entries.into_iter().map(Some).collect();
    let order: Vec<Entry<'_>> = best_first(&standings).into_iter().filter_map(|i| taken[i].take()).collect();
    let best = order.first().filter(|e| e.blur_px.is_some());
    let elsewhere = best.and_then(|best| sharper_elsewhere(best, &order[1..]));
    let mut ranking: Vec<Ranked> = order.iter().enumerate().map(|(i, entry)| ranked(entry, i, &order)).collect();
    if let (Some(first), Some(other)) = (ranking.first_mut(), elsewhere) {
        first.reason.push_str(&format!(
            " Other parts are sharper in {}: the focus moved (a focus stack?); choose by the part that matters.",
            file_name(&other.frame.file)
        ));
    }
    let span_s = burst.first().and_then(|p| p.clock).zip(burst.last().and_then(|p| p.clock));
    Burst {
        files: burst.iter().map(|p| p.frame.file.to_string()).collect(),
        best: best.map(|e| e.frame.file.to_string()),
        focus_moved: elsewhere.is_some(),
        ranking,
        span_s: span_s.map(|(a, b)| b.seconds - a.seconds),
    }
}

/// Blur over all directions: the root mean square of the rise over the directions that every frame of the burst has, so
/// that frames compare on the same edges; else the sharpest quarter's rise and the motion together.
///
/// Each direction counts with the median of itself and its neighbours: motion widens many directions in a row, a single
/// wide one is a few soft edges of the scene.
fn blur_px(frame: &FrameRow, common: &[usize]) -> Option<f64> {
    let rise = frame.edge_rise_px()?;
    if common.len() >= 3 {
        let at = |bin: usize| frame.rise_by_direction_px(bin).filter(|_| common.contains(&bin));
        let smooth = |bin: usize| {
            let mut near: Vec<f64> = [(bin + 11) % 12, bin, (bin + 1) % 12].into_iter().filter_map(at).collect();
            near.sort_by(f64::total_cmp);
            near.get((near.len() - 1) / 2).copied()
        };
        let squares: f64 = common.iter().filter_map(|&bin| smooth(bin)).map(|r| r * r).sum();
        return Some((squares / common.len() as f64).sqrt());
    }
    let motion = frame.motion_px().filter(|_| moved(frame)).unwrap_or(0.0);
    Some(rise.hypot(MOTION_RISE * motion))
}

fn mm(frame: &FrameRow, px: Option<f64>) -> Option<f64> {
    let ppi = frame.ppi().filter(|p| *p > 0.0)?;
    Some(px? * 25.4 / ppi)
}

/// What a frame lost of the tones, in words.
fn lost_text(entry: &Entry<'_>) -> String {
    match entry.lost_code {
        Some(FindingCode::Blown) => format!("its highlights are blown ({:.1} % clipped)", entry.clipped_pct),
        Some(FindingCode::Blocked) => "its shadows are blocked".to_string(),
        _ => "it is damaged".to_string(),
    }
}

/// The reason in words, against the best.
fn ranked(entry: &Entry<'_>, index: usize, order: &[Entry<'_>]) -> Ranked {
    let reason = match (entry.blur_px, index) {
        (None, _) => "Sharpness could not be measured.".to_string(),
        (Some(_), 0) => best_reason(entry, &order[1..]),
        (Some(_), _) => other_reason(entry, &order[0]),
    };
    Ranked {
        file: entry.frame.file.to_string(),
        rank: index + 1,
        outcome: entry.frame.outcome,
        blur_px: entry.blur_px,
        print_blur_mm: mm(entry.frame, entry.blur_px),
        reason,
    }
}

fn best_reason(best: &Entry<'_>, others: &[Entry<'_>]) -> String {
    let shown = match (mm(best.frame, best.blur_px), best.blur_px) {
        (Some(mm), _) => format!("{mm:.2} mm at the brief's size"),
        (None, Some(px)) => format!("{px:.2} px"),
        (None, None) => "unknown".to_string(),
    };
    let mut told: Vec<&Entry<'_>> = others.iter().filter(|e| e.blur_px.is_some()).collect();
    told.sort_by(|a, b| a.blur().total_cmp(&b.blur()));
    let Some(sharpest) = told.first() else {
        return format!("The only one whose sharpness could be measured: blur of {shown}.");
    };
    let near = sharpest.as_sharp_px.min(best.as_sharp_px);
    if best.blur() > sharpest.as_sharp_px {
        let softer = 100.0 * (best.blur() / sharpest.blur() - 1.0);
        let name = file_name(&sharpest.frame.file);
        return format!("{name} is {softer:.0} % sharper, but {}; here the blur is {shown}.", lost_text(sharpest));
    }
    if sharpest.blur() > near {
        return format!("Sharpest, motion included: blur of {shown}.");
    }
    let rival = &others[0];
    let so = if best.clipping_class() < rival.clipping_class() {
        "fewer clipped highlights"
    } else if best.noise_class() < rival.noise_class() {
        "less noise"
    } else if best.fault() < rival.fault() {
        "nothing lost in highlights and shadows"
    } else {
        // What places it first is less than can be measured: either will do.
        "nothing measured tells them apart"
    };
    format!("As sharp as {} within what can be measured ({shown}); {so}.", file_name(&rival.frame.file))
}

/// The frame in which most other parts of the picture are clearly sharper: the sharpest quarter of the edges says nothing of
/// which part matters. Motion widens a part by how its own edges lie: two shakes of different directions look like a focus that
/// moved, so shaken frames tell nothing of it.
fn sharper_elsewhere<'o, 'f>(best: &Entry<'_>, others: &'o [Entry<'f>]) -> Option<&'o Entry<'f>> {
    let part = |tiles: usize, shared: usize| tiles >= 3 && tiles as f64 >= MOVED_SHARE * shared as f64;
    let still = |entry: &Entry<'_>| !moved(entry.frame);
    let moved = others.iter().filter(|other| still(best) && still(other)).filter_map(|other| {
        let (sharper, softer, shared) = other.frame.tiles_against(best.frame);
        (part(sharper, shared) && part(softer, shared)).then_some((sharper, other))
    });
    moved.max_by_key(|(tiles, _)| *tiles).map(|(_, other)| other)
}

fn other_reason(entry: &Entry<'_>, best: &Entry<'_>) -> String {
    let ratio = entry.blur() / best.blur();
    let cause = match (entry.frame.blur_kind, entry.frame.motion_px()) {
        (BlurKind::Motion | BlurKind::Mixed, Some(px)) => format!(", moved by {px:.1} px"),
        (BlurKind::Defocus, _) => ", focus missed".to_string(),
        _ => String::new(),
    };
    if entry.blur() > best.as_sharp_px {
        let lost = if entry.lost > best.lost { format!("; {}", lost_text(entry)) } else { String::new() };
        format!("{:.0} % softer than the best{cause}{lost}.", 100.0 * (ratio - 1.0))
    } else if entry.fault() > best.fault() && entry.lost_code.is_some() {
        let sharp = if best.blur() > entry.as_sharp_px {
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
