//! Brackets and copies on hand-made rows. Truth: the light that was put into each cell, and what a sensor that clips makes
//! of it.

#![allow(clippy::unwrap_used)]

use super::{Sets, sets};
use crate::judge::fixture::{measures, shot};
use crate::judge::{Subject, judge};
use crate::measures::Measures;
use crate::{Brief, FrameRow, Likeness, RowMaker, without_copies};

/// What is varied of a frame.
struct Frame {
    name: &'static str,
    seconds: f64,
    ev: f64,
    measures: Measures,
}

fn frame(name: &'static str, seconds: f64, ev: f64) -> Frame {
    Frame { name, seconds, ev, measures: measures() }
}

fn row(frame: &Frame) -> FrameRow {
    let mut shot = shot();
    shot.shutter_s = Some(ev_time(frame.ev));
    shot.taken_at = Some(format!("2026-05-01T10:00:{:06.3}", frame.seconds));
    shot.exposure_bias_ev = Some(frame.ev);
    let subject = Subject { shot: Some(&shot), measures: Some(&frame.measures), damaged: None };
    let judgement = judge(&subject, &Brief::built_in("portfolio").unwrap(), None);
    RowMaker::default().row(frame.name, &shot, &frame.measures, &judgement, false)
}

fn ev_time(ev: f64) -> f64 {
    ev.exp2() / 250.0
}

/// A picture of small even parts, 4 x 4 to a cell, of tones over `range_ev`, as a sensor sees it that clips 2 EV above the
/// middle; moved by so many parts to the right and down, as a hand moves a framing.
fn seen(seed: u64, range_ev: f64, ev: f64, moved: (usize, usize)) -> Likeness {
    const PARTS: (usize, usize) = (32 * 4 + 8, 24 * 4 + 8);
    let mut state = seed;
    let mut dice = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1_u32 << 31)
    };
    // Things some cells large, each of one tone.
    let mut tones = vec![0.0; PARTS.0 * PARTS.1];
    for _ in 0..300 {
        let (x, y, size) = (dice() * PARTS.0 as f64, dice() * PARTS.1 as f64, 3.0 + 14.0 * dice());
        let tone = range_ev * (dice() - 0.5);
        for v in 0..PARTS.1 {
            for u in 0..PARTS.0 {
                if (u as f64 - x).hypot(v as f64 - y) < size {
                    tones[v * PARTS.0 + u] = tone;
                }
            }
        }
    }
    let cell = |i: usize| {
        let (x, y) = (4 * (i % 32) + moved.0, 4 * (i / 32) + moved.1);
        let parts = (0..16).map(|p| tones[(y + p / 4) * PARTS.0 + x + p % 4]);
        let light: f64 = parts.map(|tone| (tone + ev - 2.0).exp2().min(1.0)).sum::<f64>() / 16.0;
        (-light.log2() * 16.0).round().clamp(0.0, 255.0) as u8
    };
    Likeness { cols: 32, rows: 24, below_saturation: (0..768).map(cell).collect() }
}

fn found(frames: &[Frame]) -> Sets {
    sets(&frames.iter().map(row).collect::<Vec<_>>())
}

#[test]
fn a_bracket_by_hand_keeps_its_brightest_frame() {
    let mut whole = 0;
    for seed in 0..20 {
        let frames: Vec<Frame> = [(0.0, (2, 2)), (-2.0, (3, 2)), (2.0, (2, 3))]
            .into_iter()
            .enumerate()
            .map(|(i, (ev, moved))| {
                let mut frame = frame(["A", "B", "C"][i], 0.4 * i as f64, ev);
                frame.measures.likeness = seen(seed, 9.0, ev, moved);
                frame
            })
            .collect();
        let sets = found(&frames);
        whole += usize::from(sets.brackets.len() == 1 && sets.brackets[0].files.len() == 3);
        for bracket in &sets.brackets {
            for (measured, step) in bracket.measured_ev_steps.iter().zip(&bracket.ev_steps) {
                assert!((measured.unwrap() - step).abs() < 0.2, "{seed}: {bracket:?}");
            }
        }
    }
    assert!(whole >= 19, "{whole} of 20 are whole");
}

#[test]
fn other_pictures_at_other_exposures_are_no_bracket() {
    for seed in 0..20 {
        let frames: Vec<Frame> = [0.0, -2.0, 2.0]
            .into_iter()
            .enumerate()
            .map(|(i, ev)| {
                let mut frame = frame(["A", "B", "C"][i], 1.5 * i as f64, ev);
                frame.measures.likeness = seen(100 * seed + i as u64, 9.0, ev, (2, 2));
                frame
            })
            .collect();
        assert!(found(&frames).brackets.is_empty(), "{seed}");
    }
}

/// Three frames 3 EV apart; the darkest alone clips nothing. Darkest tones as the closed form gives them: those of the
/// middle frame lie `darkest` EV below saturation, those of the others 3 EV lower and higher.
fn ends(darkest: f64, known: bool) -> Sets {
    let frames: Vec<Frame> = [-3.0, 0.0, 3.0]
        .into_iter()
        .enumerate()
        .map(|(i, ev)| {
            let mut frame = frame(["A", "B", "C"][i], 0.4 * i as f64, ev);
            frame.measures.likeness = seen(1, 5.0, ev - 1.0, (2, 2));
            frame.measures.exposure.darkest_ev = Some(darkest - ev);
            frame.measures.exposure.scene_range_ev = Some(darkest - 3.0);
            if i > 0 {
                frame.measures.exposure.clipped_any_pct = 20.0;
                frame.measures.exposure.clipped_all_pct = 20.0;
                frame.measures.exposure.largest_clipped_area_pct = 20.0;
                frame.measures.exposure.clipped_area_count = 1;
                let map = &mut frame.measures.clipping;
                map.any_pct.fill(20.0);
            }
            if !known {
                frame.measures.engineering_ev = None;
                for channel in &mut frame.measures.channels {
                    (channel.read_noise_dn, channel.read_noise_e, channel.gain_e_per_dn) = (None, None, None);
                }
            }
            frame
        })
        .collect();
    found(&frames)
}

#[test]
fn shadows_in_the_noise_are_not_held() {
    let usable = row(&frame("A", 0.0, 0.0)).usable_ev().unwrap();
    let one = |sets: Sets| {
        assert_eq!(sets.brackets.len(), 1, "{sets:?}");
        sets.brackets.into_iter().next().unwrap()
    };
    // The darkest frame has room for the darkest tones: it alone does.
    let bracket = one(ends(usable - 4.0, true));
    assert_eq!(bracket.highlights_held_by.as_deref(), Some("A"), "{bracket:?}");
    assert_eq!(bracket.fewest_to_merge, ["A"]);
    // Each frame by itself: only the darkest clips nothing, and all have room for the darkest tones.
    assert_eq!((bracket.holds_highlights, bracket.holds_shadows), (vec![true, false, false], vec![Some(true); 3]));
    // They lie 1 EV below what is usable in it: the middle one is wanted for them.
    let bracket = one(ends(usable - 2.0, true));
    assert_eq!(bracket.shadows_held_by.as_deref(), Some("B"), "{bracket:?}");
    assert_eq!(bracket.fewest_to_merge, ["A", "B"]);
    assert_eq!(
        (&bracket.holds_highlights[..], &bracket.holds_shadows[..]),
        (&[true, false, false][..], &[Some(false), Some(true), Some(true)][..])
    );
    assert!((bracket.merged_range_ev.unwrap() - usable - 3.0).abs() < 0.01);
    // In all of them.
    let bracket = one(ends(usable + 4.0, true));
    assert!(bracket.shadows_held_by.is_none() && bracket.answer.contains("in the noise"), "{bracket:?}");
}

/// A frame may fall short of the scene's range by what counts as none (0.25 EV): the two numbers must not read as a slip.
#[test]
fn a_range_that_is_as_good_as_enough_is_said_to_be() {
    let told = |usable| super::brackets::answer(true, true, &["F015.dng"], Some(11.2), Some(usable));
    assert!(
        told(11.0).contains("it can use 11.0 EV, as much as the scene within what can be measured"),
        "{}",
        told(11.0)
    );
    assert!(told(11.3).contains("it can use 11.3 EV; no merging"), "{}", told(11.3));
}

#[test]
fn unknown_ranges_are_not_called_too_narrow() {
    let mut frames = ends(9.0, false);
    let bracket = frames.brackets.remove(0);
    assert_eq!(bracket.fewest_to_merge, ["A"], "as far as clipping goes");
    assert_eq!(bracket.holds_shadows, [None; 3], "nobody knows");
    assert!(bracket.answer.contains("was not measured"), "{}", bracket.answer);
    assert!(!bracket.warnings.iter().any(|w| w.contains("too wide")), "{:?}", bracket.warnings);
}

#[test]
fn copies_of_a_file_are_no_second_take() {
    let shots =
        [("card/A.CR2", "aa"), ("copy/X.CR2", "aa"), ("card/B.CR2", "bb"), ("copy/B.dng", "cc"), ("card/C.CR2", "")];
    let rows: Vec<FrameRow> = shots
        .into_iter()
        .enumerate()
        .map(|(i, (name, hash))| {
            let mut frame = frame(name, 0.2 * (i / 2) as f64, 0.0);
            frame.measures.likeness = seen(3, 6.0, 0.0, (2, 2));
            row(&frame).identified(&if hash.is_empty() { String::new() } else { format!("{hash:0<32}") })
        })
        .collect();
    let (kept, told) = without_copies(rows);
    assert_eq!(kept.iter().map(|r| &*r.file).collect::<Vec<_>>(), ["card/A.CR2", "card/B.CR2", "card/C.CR2"]);
    let told = told.unwrap();
    assert!(told.starts_with("2 files are copies") && told.contains("copy/X.CR2 is one of card/A.CR2"), "{told}");
    assert_eq!(sets(&kept).bursts[0].files, ["card/A.CR2", "card/B.CR2", "card/C.CR2"]);
    assert!(without_copies(kept).1.is_none());
}

/// A camera that counts on from card to card, two frames in one second, and a name that comes again a year later.
#[test]
fn equal_names_or_times_alone_are_no_copies() {
    let frames = [("1/F1.dng", 3.0), ("2/F1.dng", 4.0), ("1/F2.dng", 4.0)];
    let rows: Vec<FrameRow> = frames.into_iter().map(|(name, seconds)| row(&frame(name, seconds, 0.0))).collect();
    assert_eq!(without_copies(rows).0.len(), 3);
}

/// Left half sharp in one frame, right half in the other; in a third all is as in the first. Neither is better for a subject
/// on the other side.
#[test]
fn a_focus_that_moved_is_said() {
    let burst_of = |sharp: [fn(usize) -> bool; 2], kind: crate::BlurKind| {
        let frames: Vec<Frame> = (0..2)
            .map(|i| {
                let mut frame = frame(["A", "B"][i], 0.3 * i as f64, 0.0);
                frame.measures.likeness = seen(9, 6.0, 0.0, (2, 2));
                frame.measures.blur.kind = kind;
                let rise = |tile: usize| Some(if sharp[i](tile % 6) { 1.7 } else { 3.0 });
                frame.measures.sharpness.map.rise_px = (0..24).map(rise).collect();
                frame
            })
            .collect();
        let mut burst = found(&frames).bursts.remove(0);
        (burst.focus_moved, burst.ranking.remove(0).reason.contains("the focus moved"))
    };
    let burst = |sharp| burst_of(sharp, crate::BlurKind::None);
    assert_eq!(burst([|x| x < 3, |x| x >= 3]), (true, true));
    // Shakes in two directions: each spares the parts whose edges lie along it.
    assert_eq!(burst_of([|x| x < 3, |x| x >= 3], crate::BlurKind::Motion), (false, false));
    // One frame softer all over, or one tile that differs: no focus that moved.
    assert_eq!(burst([|_| true, |_| false]), (false, false));
    assert_eq!(burst([|x| x < 3, |x| x < 3]), (false, false));
}

/// Frames whose settings nobody wrote down: alike they are a burst, at three exposures none of them is best.
#[test]
fn exposures_that_are_not_told_part_a_burst() {
    let bursts = |exposures: [f64; 3]| {
        let rows: Vec<FrameRow> = exposures
            .into_iter()
            .enumerate()
            .map(|(i, ev)| {
                let mut measures = measures();
                measures.likeness = seen(9, 6.0, ev, (2, 2));
                let shot = rawassay_decode::Shot {
                    taken_at: Some(format!("2026-05-01T10:00:{:06.3}", 0.3 * i as f64)),
                    ..Default::default()
                };
                let subject = Subject { shot: Some(&shot), measures: Some(&measures), damaged: None };
                let judgement = judge(&subject, &Brief::default(), None);
                RowMaker::default().row(["A", "B", "C"][i], &shot, &measures, &judgement, false)
            })
            .collect();
        sets(&rows).bursts.len()
    };
    assert_eq!(bursts([0.0, 0.1, 0.0]), 1);
    assert_eq!(bursts([0.0, -2.0, 2.0]), 0);
}

/// What cannot be told apart is not given a winner in words.
#[test]
fn equals_are_called_equal() {
    let frames: Vec<Frame> = (0..2)
        .map(|i| {
            let mut frame = frame(["A", "B"][i], 0.3 * i as f64, 0.0);
            frame.measures.likeness = seen(9, 6.0, 0.0, (2, 2));
            frame.measures.sharpness.edge_rise_px = Some(1.8 - 0.001 * i as f64);
            frame
        })
        .collect();
    let ranking = found(&frames).bursts.remove(0).ranking;
    assert!(ranking[0].reason.contains("nothing measured tells them apart"), "{}", ranking[0].reason);
    assert!(!ranking[0].reason.contains("sharper"), "{}", ranking[0].reason);
}

/// Two bodies of one model that tell no serial number, each with a burst: frames by turns, 0.15 s apart.
#[test]
fn bursts_of_two_bodies_that_take_turns_are_two() {
    for seed in 0..10 {
        let frames: Vec<Frame> = (0..8)
            .map(|i| {
                let name = ["A1", "B1", "A2", "B2", "A3", "B3", "A4", "B4"][i];
                let mut frame = frame(name, 0.15 * i as f64, 0.0);
                frame.measures.likeness = seen(2 * seed + i as u64 % 2, 6.0, 0.0, (2, 2));
                frame
            })
            .collect();
        let files: Vec<Vec<String>> = found(&frames).bursts.into_iter().map(|burst| burst.files).collect();
        assert_eq!(files, [["A1", "A2", "A3", "A4"], ["B1", "B2", "B3", "B4"]], "{seed}");
    }
}
