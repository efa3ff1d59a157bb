//! Bursts: frames of one framing and exposure in quick succession, and which of them is technically best.
//!
//! Ranked by the blur on the paper first (all directions, so that motion counts in full), then by clipping, then by noise.
//! Frames whose blur differs by less than can be measured are equal in it.

use serde::Serialize;

use super::{Placed, framing};
use crate::{BlurKind, FrameView, Outcome};

/// Longest pause within a burst, seconds.
const GAP_S: f64 = 2.0;
/// Exposures this near are one exposure, EV: automatic exposure drifts by a third.
const SAME_EV: f64 = 0.4;
/// Blur within this ratio of the best is as good, where the edges do not tell it nearer.
const AS_SHARP: f64 = 1.02;
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
    soon && alike && framing(last, next).is_some_and(|c| c >= super::SAME_FRAMING)
}

/// What a frame is ranked by.
struct Entry<'f, 'a> {
    frame: &'f FrameView<'a>,
    blur_px: Option<f64>,
    spread_px: f64,
    clipped_pct: f64,
    snr_db: f64,
}

fn rank(burst: &[Placed<'_, '_>]) -> Burst {
    let common: Vec<usize> = (0..12)
        .filter(|&bin| {
            let mut told = burst.iter().filter(|p| p.frame.measures.sharpness.edge_rise_px.is_some()).peekable();
            told.peek().is_some() && told.all(|p| p.frame.measures.sharpness.rise_by_direction_px[bin].is_some())
        })
        .collect();
    let mut left: Vec<Entry<'_, '_>> = burst
        .iter()
        .map(|placed| {
            let measures = &placed.frame.measures;
            Entry {
                frame: placed.frame,
                blur_px: blur_px(placed.frame, &common),
                spread_px: measures.sharpness.edge_rise_spread_px.unwrap_or(0.0),
                // To a tenth: smaller differences are noise.
                clipped_pct: (measures.exposure.clipped_any_pct * 10.0).round() / 10.0,
                snr_db: measures.noise.snr_midtone_db.map_or(f64::MIN, |s| (s * 2.0).round() / 2.0),
            }
        })
        .collect();
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
fn blur_px(frame: &FrameView<'_>, common: &[usize]) -> Option<f64> {
    let sharpness = &frame.measures.sharpness;
    let rise = sharpness.edge_rise_px?;
    if common.len() >= 3 {
        let squares: f64 = common.iter().filter_map(|&bin| sharpness.rise_by_direction_px[bin]).map(|r| r * r).sum();
        return Some((squares / common.len() as f64).sqrt());
    }
    let moved = matches!(frame.measures.blur.kind, BlurKind::Motion | BlurKind::Mixed);
    let motion = frame.measures.blur.motion_px.filter(|_| moved).unwrap_or(0.0);
    Some(rise.hypot(MOTION_RISE * motion))
}

/// Of the frames that are as sharp as the sharpest left, the one with the least clipping, then the least noise, then the
/// least blur, then the first.
fn next_best(left: &[Entry<'_, '_>]) -> usize {
    let sharpest = left
        .iter()
        .filter(|e| e.blur_px.is_some())
        .min_by(|a, b| a.blur_px.unwrap_or(f64::MAX).total_cmp(&b.blur_px.unwrap_or(f64::MAX)));
    let Some(sharpest) = sharpest else { return 0 };
    let least = sharpest.blur_px.unwrap_or(f64::MAX);
    let within = (least * AS_SHARP).max(least + sharpest.spread_px.min(0.05 * least));
    let candidates = (0..left.len()).filter(|&i| left[i].blur_px.is_some_and(|b| b <= within));
    candidates
        .min_by(|&a, &b| {
            let (a, b) = (&left[a], &left[b]);
            a.clipped_pct
                .total_cmp(&b.clipped_pct)
                .then(b.snr_db.total_cmp(&a.snr_db))
                .then(a.blur_px.unwrap_or(f64::MAX).total_cmp(&b.blur_px.unwrap_or(f64::MAX)))
        })
        .unwrap_or(0)
}

fn mm(frame: &FrameView<'_>, px: Option<f64>) -> Option<f64> {
    let ppi = frame.judgement.print.ppi.filter(|p| *p > 0.0)?;
    Some(px? * 25.4 / ppi)
}

/// The reason in words, against the best.
fn ranked(entry: &Entry<'_, '_>, index: usize, order: &[Entry<'_, '_>]) -> Ranked {
    let best = &order[0];
    let print_blur_mm = mm(entry.frame, entry.blur_px);
    let shown = |e: &Entry<'_, '_>| match (mm(e.frame, e.blur_px), e.blur_px) {
        (Some(mm), _) => format!("{mm:.2} mm on the paper"),
        (None, Some(px)) => format!("{px:.2} px"),
        (None, None) => "unknown".to_string(),
    };
    let reason = match (index, entry.blur_px, best.blur_px) {
        (_, None, _) => "sharpness could not be measured".to_string(),
        (0, Some(_), _) => match order.get(1).and_then(|second| Some(second.blur_px? / entry.blur_px?)) {
            Some(ratio) if ratio > AS_SHARP => {
                format!("sharpest, motion included: edges rise over {}", shown(entry))
            }
            Some(_) => {
                let second = &order[1];
                let so = if entry.clipped_pct < second.clipped_pct {
                    "fewer clipped highlights"
                } else if entry.snr_db > second.snr_db {
                    "less noise"
                } else {
                    "slightly sharper"
                };
                format!("as sharp as the next within what can be measured ({}); {so}", shown(entry))
            }
            None => format!("the only one whose sharpness could be measured: edges rise over {}", shown(entry)),
        },
        (_, Some(blur), Some(least)) => {
            let softer = 100.0 * (blur / least - 1.0);
            let blur = &entry.frame.measures.blur;
            let cause = match blur.kind {
                BlurKind::Motion | BlurKind::Mixed if blur.motion_px.is_some() => {
                    format!(", moved by {:.1} px", blur.motion_px.unwrap_or(0.0))
                }
                BlurKind::Defocus => ", focus missed".to_string(),
                _ => String::new(),
            };
            if softer >= 100.0 * (AS_SHARP - 1.0) {
                format!("{softer:.0} % softer than the best{cause}")
            } else if entry.clipped_pct > best.clipped_pct {
                format!("as sharp, but {:.1} % clipped against {:.1} %", entry.clipped_pct, best.clipped_pct)
            } else if entry.snr_db < best.snr_db {
                "as sharp, but noisier".to_string()
            } else {
                "as good as the best within what can be measured".to_string()
            }
        }
        (_, Some(_), None) => String::new(),
    };
    Ranked {
        file: entry.frame.file.to_string(),
        rank: index + 1,
        outcome: entry.frame.judgement.verdict.outcome,
        blur_px: entry.blur_px,
        print_blur_mm,
        reason,
    }
}
