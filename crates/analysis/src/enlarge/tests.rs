#![allow(clippy::unwrap_used)]
use super::*;
use crate::judge::fixture::{measures, shot};

#[test]
fn the_ladder_agrees_with_the_judgement_at_every_size() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let brief = Brief::default();
    let sizes = usual_sizes();
    let ladder = ladder(&subject, &brief, None, None, Distance::Brief, &sizes);
    assert_eq!(ladder.rungs.len(), sizes.len());
    for (rung, size) in ladder.rungs.iter().zip(&sizes) {
        let mut at = brief.clone();
        (at.output.width_mm, at.output.height_mm) = (size.width_mm, size.height_mm);
        let judgement = crate::judge::judge(&subject, &at, None);
        assert_eq!(judgement.verdict.outcome, rung.outcome, "{}", rung.paper);
        assert!((judgement.print.ppi.unwrap() - rung.ppi).abs() < 1e-9);
        assert_eq!(rung.limited_by.is_none(), rung.outcome == Outcome::Prints);
        let fits = rung.width_in <= ladder.largest.as_ref().unwrap().width_in * (1.0 + 1e-9);
        assert_eq!(fits, rung.outcome == Outcome::Prints, "{}", rung.paper);
    }
    // Both ends are there: small prints, large fails.
    assert_eq!(ladder.rungs[0].outcome, Outcome::Prints);
    assert_eq!(ladder.rungs[11].outcome, Outcome::Fails);
    // 6000 px over 240 ppi are 25 in; edges allow 2.44 px: 315.8 x 1.8 / 2.44 = 232.9 ppi, so pixels limit.
    let largest = ladder.largest.unwrap();
    assert!((largest.width_in - 25.0).abs() < 1e-9 && largest.limited_by == "pixels", "{largest:?}");
}

/// Where edges ask for more than the resolution that is wanted, a size is held against what they ask for.
#[test]
fn what_the_edges_ask_for_is_told() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let ladder = ladder(&subject, &Brief::default(), None, Some(100.0), Distance::Fixed(250.0), &usual_sizes());
    // Closed form: 1.5 minutes of arc at 25 cm are 0.1091 mm, and the frame's edges are 1.8 px.
    let allowed_mm = 1.5 * 250.0 * (1.0f64 / 60.0).to_radians().tan();
    let needed_ppi = 1.8 * 25.4 / allowed_mm;
    assert!((needed_ppi - 419.1).abs() < 0.1, "{needed_ppi}");
    let mut outcomes = Vec::new();
    for rung in &ladder.rungs {
        let edges = rung.edges_ask_px.unwrap();
        assert!((edges[0] - rung.width_in * needed_ppi).abs() <= 1.0, "{}: {edges:?}", rung.paper);
        let (held, by_edges) = rung.held_against_px();
        assert!(by_edges && held == edges && rung.asks_px[0] < held[0], "{}", rung.paper);
        assert_eq!(ladder.picture_px.unwrap()[0] >= held[0], rung.outcome == Outcome::Prints, "{}", rung.paper);
        outcomes.push(rung.outcome);
    }
    assert!(outcomes.contains(&Outcome::Prints) && outcomes.contains(&Outcome::Borderline), "{outcomes:?}");
}

/// A screen is not turned: sizes of paper, which are written with the short side first, would stand upright.
#[test]
fn a_screen_has_screens_for_its_ladder() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let brief = Brief::built_in("screen").unwrap();
    let ladder = ladder(&subject, &brief, None, None, Distance::Brief, &usual_of(&brief.output));
    // 6000 x 4000 px fill the height: 1440 of them on a screen of 2560 x 1440, at 110 x 4000 / 1440 pixels per inch.
    let own = ladder.rungs.iter().find(|r| r.paper == brief.size_text()).unwrap();
    assert_eq!(own.asks_px, [2160.0, 1440.0]);
    assert!((own.ppi - 110.0 * 4000.0 / 1440.0).abs() < 1e-6, "{}", own.ppi);
    assert!(ladder.rungs.iter().all(|r| r.paper.ends_with(" px") && r.width_in > r.height_in));
    let largest = ladder.largest.unwrap();
    let told = |unit| length::most_text(largest.width_in * 25.4, largest.height_in * 25.4, unit);
    let [w, h] = [largest.width_in, largest.height_in].map(|side| (side * 110.0 + 1e-4).floor());
    assert_eq!(told(brief.output.picture_unit()), format!("{w} x {h} px"));
}

#[test]
fn highlights_shadows_and_damage_stand_in_the_ladder() {
    let (mut m, s) = (measures(), shot());
    m.exposure.floor_pct = Some(50.0);
    let brief = Brief::default();
    let sizes = usual_sizes();
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let blocked = ladder(&subject, &brief, None, None, Distance::Diagonal, &sizes);
    assert!(blocked.rungs.iter().all(|r| r.outcome == Outcome::Fails));
    assert_eq!(blocked.rungs[0].limited_by.as_deref(), Some("shadows"));
    assert!(blocked.largest.is_none() && blocked.if_accepted.is_some());
    let m = measures();
    let damaged = Subject { shot: Some(&s), measures: Some(&m), damaged: Some("rows are missing") };
    let damaged = ladder(&damaged, &brief, None, None, Distance::Brief, &sizes);
    assert!(damaged.rungs.iter().all(|r| r.outcome == Outcome::Fails));
    assert!(damaged.largest.is_none() && damaged.if_accepted.is_none());
}

#[test]
fn a_resolution_takes_the_place_of_the_briefs() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    // 6000 x 4000 px at 20 x 13.33 in is 300 ppi (references, section 5).
    let sizes = [PaperSize::new(20.0 * 25.4, 40.0 / 3.0 * 25.4, LengthUnit::In)];
    let at = ladder(&subject, &Brief::default(), None, Some(300.0), Distance::Brief, &sizes);
    assert!((at.rungs[0].ppi - 300.0).abs() < 1e-9);
    assert_eq!(at.rungs[0].outcome, Outcome::Prints);
    assert_eq!(at.rungs[0].asks_px, [6000.0, 4000.0]);
    assert!((at.largest.unwrap().width_in - 20.0).abs() < 1e-9);
    let past = ladder(&subject, &Brief::default(), None, Some(301.0), Distance::Brief, &sizes);
    assert_eq!(past.rungs[0].limited_by.as_deref(), Some("pixels"));
    // A lower one than the brief's least asks no more than itself.
    let low = ladder(&subject, &Brief::default(), None, Some(100.0), Distance::Fixed(5000.0), &sizes);
    assert!((low.largest.unwrap().width_in - 60.0).abs() < 1e-9);
}

#[test]
fn from_its_diagonal_only_pixels_limit_a_sharp_frame() {
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let at = ladder(&subject, &Brief::default(), None, Some(1.0), Distance::Diagonal, &usual_sizes());
    // Pixels ask nothing: a blur stays the same angle at every size beyond 25 cm.
    let last = at.rungs.last().unwrap();
    assert!((last.distance_mm - last.width_in.hypot(last.height_in) * 25.4).abs() < 1e-6);
    assert_eq!(last.outcome, Outcome::Prints);
    assert_eq!(at.largest.unwrap().limited_by, "pixels");
}

#[test]
fn unreadable_or_outside_has_no_ladder_to_stand_on() {
    let nothing = ladder(&Subject::default(), &Brief::default(), None, None, Distance::Brief, &usual_sizes());
    assert!(nothing.rungs.is_empty() && nothing.largest.is_none() && !nothing.not_measured.is_empty());
    let (m, s) = (measures(), shot());
    let subject = Subject { shot: Some(&s), measures: Some(&m), damaged: None };
    let crop = Some(Area::new(0, 0, 7000, 10));
    let outside = ladder(&subject, &Brief::default(), crop, None, Distance::Diagonal, &usual_sizes());
    assert!(outside.rungs.is_empty() && outside.largest.is_none());
}
