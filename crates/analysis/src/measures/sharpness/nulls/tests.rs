//! What the nulls make of a kind, on hand-made readings.

use super::super::pyramid::Level;
use super::super::spectrum::tests::{NOISE, texture};
use super::super::window::Source;
use super::*;

fn told(verdict: Verdict, sigma_px: f64, confidence: f64) -> KindReading {
    let psf = PointSpread { sigma_px, ..PointSpread::default() };
    KindReading::of(verdict, psf, confidence)
}

/// Edges whose widths say nothing.
fn silent(share: f64) -> Widths<'static> {
    Widths { share, along_px: &|_| None, across_px: &|_| None, plain_px: None, smeared: &|_| false }
}

#[test]
fn a_disc_of_two_pictures_is_believed_where_plain_edges_are_as_wide_whatever_thin_lines_are() {
    let disc = PointSpread { sigma_px: 0.4, defocus_px: 7.4, ..PointSpread::default() };
    let kind = |plain_px, twice| {
        let widths = Widths { plain_px, ..silent(1.0) };
        let seen = Seen::Disc { psf: disc, twice, alone: true };
        let told = told(Verdict::Undetermined(""), 1.6, 0.2);
        with_seen(Some(told), &widths, 1.24, seen, &|_| false).map(|k| k.verdict)
    };
    assert!(matches!(kind(Some(4.3), true), Some(Verdict::Defocus)));
    for (plain_px, twice) in [(Some(4.3), false), (Some(1.6), true), (None, true)] {
        assert!(matches!(kind(plain_px, twice), Some(Verdict::Undetermined(_))));
    }
}

#[test]
fn a_disc_is_believed_where_the_edges_are_as_wide_as_it_makes_them() {
    let disc = PointSpread { sigma_px: 0.4, defocus_px: 6.0, ..PointSpread::default() };
    // Plain edges: about half the radius. Flanks of thin lines: a quarter of it, where the edges leave the kind open.
    let open = |sigma_px| told(Verdict::Undetermined(""), sigma_px, 0.3);
    assert!(Widths::allow(&disc, &open(3.0)) && Widths::allow(&disc, &open(1.8)));
    assert!(!Widths::allow(&disc, &open(0.8)) && !Widths::allow(&disc, &open(5.0)));
    assert!(!Widths::allow(&disc, &told(Verdict::None, 1.8, 0.5)));
    // Edges as sharp as a lens leaves them are no disc of 2 px, whatever the texture between them.
    let small = PointSpread { defocus_px: 2.0, ..disc };
    assert!(!Widths::allow(&small, &told(Verdict::None, 0.7, 0.5)));
}

#[test]
fn a_disc_that_would_widen_the_plain_edges_is_not_believed_where_these_are_sharp() {
    let kind_of = |sigma_px, plain_px, allowance_px| {
        let disc = PointSpread { sigma_px, defocus_px: 2.0, ..PointSpread::default() };
        let widths = Widths { plain_px, ..silent(1.0) };
        let seen = Seen::Disc { psf: disc, twice: false, alone: true };
        with_seen(Some(told(Verdict::Undetermined(""), 1.0, 0.3)), &widths, allowance_px, seen, &|_| false)
            .map(|k| k.verdict)
    };
    let kind = |plain_px, allowance_px| kind_of(0.25, plain_px, allowance_px);
    // A disc of 2 px alone makes edges 1.04 px wide; the lens stopped down leaves them 1.5.
    assert!(matches!(kind(Some(1.0), 1.5), Some(Verdict::Undetermined(_))));
    // As wide as the disc makes them, wider than a lens leaves them, or flanks of thin lines alone.
    assert!(matches!(kind(Some(1.1), 1.5), Some(Verdict::Defocus)));
    assert!(matches!(kind(Some(1.0), 1.23), Some(Verdict::Defocus)));
    assert!(matches!(kind(None, 1.5), Some(Verdict::Defocus)));
    // What texture adds to the disc is not known to be in these edges.
    assert!(matches!(kind_of(1.5, Some(1.1), 1.5), Some(Verdict::Defocus)));
}

#[test]
fn a_blur_of_unknown_kind_opens_what_edges_near_the_allowance_say() {
    let widths = silent(1.0);
    let allowance = 1.23;
    assert!(widths.do_not_tell(&told(Verdict::None, 1.0, 0.7), allowance));
    assert!(!widths.do_not_tell(&told(Verdict::None, 0.6, 0.9), allowance));
    assert!(widths.do_not_tell(&told(Verdict::Defocus, 1.4, 0.66), allowance));
    assert!(!widths.do_not_tell(&told(Verdict::Defocus, 3.0, 0.9), allowance));
}

#[test]
fn wide_edges_along_a_motion_are_not_its_doing() {
    let psf = PointSpread { sigma_px: 0.3, motion_px: 11.0, motion_deg: 4.0, ..PointSpread::default() };
    let kind = |psf, stripes, along_px| moved(psf, stripes, Some(along_px), 1.23).map(|k| k.verdict);
    assert!(kind(psf, 1.0, 1.9).is_none());
    assert!(matches!(kind(psf, 1.0, 0.8), Some(Verdict::Motion)));
    let wide = PointSpread { sigma_px: 1.8, ..psf };
    assert!(matches!(kind(wide, 1.0, 1.9), Some(Verdict::Mixed)));
    // Many stripes are there all the same: a long motion widens edges that lie nearly along it.
    assert!(matches!(kind(psf, 9.0, 1.9), Some(Verdict::Motion)));
}

#[test]
fn the_disc_of_a_motion_and_a_disc_is_that_of_the_spectrum() {
    let psf = PointSpread { sigma_px: 0.3, motion_px: 11.0, defocus_px: 4.9, ..PointSpread::default() };
    for along_px in [None, Some(2.9)] {
        assert_eq!(moved(psf, 5.0, along_px, 1.23).and_then(|k| k.defocus_px), Some(4.9));
    }
}

#[test]
fn a_disc_that_two_pictures_show_overrules_a_motion_that_few_edges_show() {
    let disc = PointSpread { sigma_px: 0.5, defocus_px: 4.0, ..PointSpread::default() };
    let motion = PointSpread { sigma_px: 0.6, motion_px: 6.9, motion_deg: 20.0, ..PointSpread::default() };
    let kind = |share, twice| {
        let widths = silent(share);
        let told = KindReading::of(Verdict::Motion, motion, 0.9);
        with_seen(Some(told), &widths, 1.23, Seen::Disc { psf: disc, twice, alone: true }, &|_| false)
            .map(|k| k.verdict)
    };
    assert!(matches!(kind(0.3, true), Some(Verdict::Defocus)));
    assert!(matches!(kind(0.3, false), Some(Verdict::Motion)));
    assert!(matches!(kind(0.9, true), Some(Verdict::Motion)));
}

#[test]
fn edges_that_look_sharp_give_way_to_a_motion_that_two_pictures_show() {
    let widths = Widths { along_px: &|_| Some(0.6), ..silent(1.0) };
    let along = |motion_deg, one_way, confidence, witness| {
        let psf = PointSpread { sigma_px: 0.6, motion_px: 7.6, motion_deg, ..PointSpread::default() };
        let told = KindReading { one_way, ..told(Verdict::None, 0.8, confidence) };
        let seen = Seen::Motion { psf, gain: 0.9, stripes: 3.5, witness };
        with_seen(Some(told), &widths, 1.23, seen, &|_| false).map(|k| k.verdict)
    };
    let kind = |one_way, confidence, witness| along(20.0, one_way, confidence, witness);
    // Flanks of thin lines are sharp behind any motion. Rows of windows of one size look like that too.
    assert!(matches!(along(91.0, false, 0.9, Witness::Agrees), Some(Verdict::Undetermined(_))));
    assert!(matches!(kind(false, 0.9, Witness::Agrees), Some(Verdict::Motion)));
    assert!(matches!(kind(false, 0.9, Witness::Silent), Some(Verdict::None)));
    // Edges that face one way do not see a motion along them; a scene of one direction leaves stripes in one picture too.
    assert!(matches!(kind(true, 0.5, Witness::Silent), Some(Verdict::Motion)));
    assert!(matches!(kind(true, 0.5, Witness::Doubts), Some(Verdict::None)));
}

#[test]
fn a_disc_that_few_edges_show_gives_way_to_a_motion_that_two_pictures_show() {
    let psf = PointSpread { sigma_px: 0.6, motion_px: 12.4, motion_deg: 48.0, ..PointSpread::default() };
    let disc = PointSpread { sigma_px: 0.2, defocus_px: 4.5, ..PointSpread::default() };
    let kind = |share, witness| {
        let widths = silent(share);
        let told = KindReading::of(Verdict::Defocus, disc, 0.94);
        let seen = Seen::Motion { psf, gain: 0.6, stripes: 4.0, witness };
        with_seen(Some(told), &widths, 1.23, seen, &|_| false).map(|k| k.verdict)
    };
    assert!(matches!(kind(0.36, Witness::Agrees), Some(Verdict::Motion)));
    assert!(matches!(kind(0.36, Witness::Silent), Some(Verdict::Defocus)));
    assert!(matches!(kind(0.95, Witness::Agrees), Some(Verdict::Defocus)));
}

#[test]
fn edges_of_one_direction_give_way_to_a_disc_that_two_pictures_show() {
    let disc = PointSpread { sigma_px: 0.5, defocus_px: 6.6, ..PointSpread::default() };
    let both = PointSpread { sigma_px: 1.7, motion_px: 11.5, motion_deg: 86.0, ..PointSpread::default() };
    let kind = |one_way| {
        let widths = silent(0.7);
        let told = KindReading { one_way, from_nulls: false, ..found(Verdict::Mixed, both, 0.55) };
        with_seen(Some(told), &widths, 1.23, Seen::Disc { psf: disc, twice: true, alone: true }, &|_| false)
            .map(|k| k.verdict)
    };
    assert!(matches!(kind(true), Some(Verdict::Defocus)));
    assert!(matches!(kind(false), Some(Verdict::Mixed)));
}

#[test]
fn stripes_give_the_length_that_the_edges_do_not_show() {
    let psf = |motion_px, motion_deg| PointSpread { sigma_px: 0.6, motion_px, motion_deg, ..PointSpread::default() };
    let length = |told_px, confidence, seen_px, deg, gain, stripes| {
        let widths = silent(1.0);
        let told = KindReading::of(Verdict::Motion, psf(told_px, deg), confidence);
        let seen = Seen::Motion { psf: psf(seen_px, deg), gain, stripes, witness: Witness::Silent };
        with_seen(Some(told), &widths, 1.23, seen, &|_| false).map(|k| k.psf.motion_px)
    };
    // Unsure edges, many stripes; fewer; sure edges.
    assert_eq!(length(9.2, 0.7, 10.2, 119.0, 1.7, 8.9), Some(10.2));
    assert_eq!(length(9.2, 0.7, 10.2, 119.0, 0.4, 2.0), Some(9.2));
    assert_eq!(length(9.2, 0.9, 10.2, 119.0, 1.7, 8.9), Some(9.2));
    // Along the rows only clear stripes are believed against sure edges.
    assert_eq!(length(5.0, 0.9, 12.0, 179.0, 1.7, 9.9), Some(12.0));
    assert_eq!(length(5.0, 0.9, 12.0, 179.0, 0.6, 3.6), Some(5.0));
}

#[test]
fn the_edges_give_the_disc_beside_a_motion_whose_length_the_stripes_give() {
    let psf = PointSpread { sigma_px: 1.7, motion_px: 15.0, motion_deg: 57.0, ..PointSpread::default() };
    let edges = PointSpread { motion_px: 15.8, defocus_px: 4.3, sigma_px: 0.6, ..psf };
    let widths = Widths { along_px: &|_| Some(2.6), ..silent(1.0) };
    let told = KindReading::of(Verdict::Mixed, edges, 0.6);
    let seen = Seen::Motion { psf, gain: 1.5, stripes: 11.0, witness: Witness::Silent };
    let kind = with_seen(Some(told), &widths, 1.23, seen, &|_| false).expect("a kind");
    assert_eq!((kind.psf.motion_px, kind.defocus_px), (15.0, Some(4.3)));
}

#[test]
fn a_motion_that_sharp_texture_has_not_is_that_of_a_subject() {
    let beside = |lens_px, verdict, texture: Option<(f64, f64)>| {
        let psf = PointSpread { sigma_px: lens_px, motion_px: 5.0, motion_deg: 20.0, ..PointSpread::default() };
        let texture = texture.map(|(sigma_px, reach_cy_px)| Texture { sigma_px, reach_cy_px });
        beside_the_texture(&found(verdict, psf, 0.9), texture.as_ref(), 1.23).verdict
    };
    for texture in [Some((1.4, 0.2)), Some((0.6, 0.03)), None] {
        assert!(matches!(beside(1.05, Verdict::Motion, texture), Verdict::Undetermined(_)));
        // Edges along the subject's motion are sharp: what lies before or behind it may be out of focus.
        assert!(matches!(beside(0.6, Verdict::Motion, texture), Verdict::SubjectMoved));
        assert!(matches!(beside(0.6, Verdict::Mixed, texture), Verdict::Undetermined(_)));
    }
    assert!(matches!(beside(1.05, Verdict::Motion, Some((0.6, 0.2))), Verdict::SubjectMoved));
    assert!(matches!(beside(1.05, Verdict::Mixed, Some((0.6, 0.2))), Verdict::SubjectMoved));
}

#[test]
fn pictures_that_contradict_each_other_still_tell_a_subject_from_the_camera() {
    // Texture with a grain of its own, as woven cloth has: its nulls lie otherwise in either picture.
    let psf = |motion_px, motion_deg| PointSpread { sigma_px: 0.5, motion_px, motion_deg, ..PointSpread::default() };
    let levels = [texture(&psf(8.0, 20.0), 51), texture(&psf(8.0, 50.0), 52)];
    let pictures = levels.each_ref().map(|level| Picture { source: Source::Level(level), noise: NOISE });
    let spectra = spectrum::read_two(&pictures);
    assert!(seen(&spectra).is_none());
    let weighed = |motion: PointSpread| {
        let told = KindReading::of(Verdict::Motion, motion, 0.9);
        weigh(Some(told), &silent(1.0), 1.23, &pictures, &spectra).map(|k| k.verdict)
    };
    assert!(matches!(weighed(psf(12.0, 125.0)), Some(Verdict::SubjectMoved)));
    // One of them has this one, but for the errors of edges.
    assert!(matches!(weighed(psf(8.6, 28.0)), Some(Verdict::Motion)));
}

#[test]
fn another_motion_in_the_texture_hides_no_subject_unless_it_overrules_a_sharp_frame() {
    let psf = |motion_px, motion_deg| PointSpread { sigma_px: 0.5, motion_px, motion_deg, ..PointSpread::default() };
    let weighed = |levels: [Level; 2]| {
        let pictures = levels.each_ref().map(|level| Picture { source: Source::Level(level), noise: NOISE });
        let spectra = spectrum::read_two(&pictures);
        assert!(matches!(seen(&spectra), Some(Seen::Motion { .. })));
        let told = KindReading::of(Verdict::Motion, psf(12.0, 100.0), 0.9);
        weigh(Some(told), &silent(0.5), 1.23, &pictures, &spectra).map(|k| k.verdict)
    };
    let sharp = || texture(&psf(0.0, 0.0), 53);
    assert!(matches!(weighed([texture(&psf(8.0, 1.0), 54), sharp()]), Some(Verdict::SubjectMoved)));
    // The camera may have moved, and a subject otherwise.
    let both = [texture(&psf(12.0, 30.0), 55), texture(&psf(12.0, 30.0), 56)];
    assert!(!matches!(weighed(both), Some(Verdict::SubjectMoved)));
}

#[test]
fn a_motion_beside_a_disc_that_edges_hardly_show_is_not_named_where_the_texture_has_the_disc_alone() {
    let disc = PointSpread { sigma_px: 0.5, defocus_px: 3.0, ..PointSpread::default() };
    let both = PointSpread { motion_px: 12.0, motion_deg: 117.0, ..disc };
    let weighed = |of_texture: &PointSpread| {
        let levels = [texture(of_texture, 57), texture(of_texture, 58)];
        let pictures = levels.each_ref().map(|level| Picture { source: Source::Level(level), noise: NOISE });
        let told = KindReading { defocus_px: Some(3.0), ..KindReading::of(Verdict::Mixed, both, 0.6) };
        weigh(Some(told), &silent(1.0), 1.23, &pictures, &spectrum::read_two(&pictures)).map(|k| k.verdict)
    };
    assert!(matches!(weighed(&disc), Some(Verdict::Undetermined(_))));
    assert!(matches!(weighed(&both), Some(Verdict::Mixed)));
}

/// What edges out of focus along a motion come to beside one that many stripes show.
fn soft_along(told: KindReading, psf: PointSpread, witness: Witness) -> Option<KindReading> {
    let widths = Widths { along_px: &|_| Some(1.6), ..silent(1.0) };
    with_seen(Some(told), &widths, 1.23, Seen::Motion { psf, gain: 0.66, stripes: 3.5, witness }, &|_| false)
}

#[test]
fn the_disc_of_edges_stands_where_both_witnesses_have_the_same_motion() {
    // The spectrum of few places shows the stripes and nothing of a small disc.
    let edges =
        PointSpread { sigma_px: 0.6, motion_px: 10.4, motion_deg: 79.0, defocus_px: 2.5, ..PointSpread::default() };
    let told = KindReading::of(Verdict::Mixed, edges, 0.7);
    let seen = PointSpread { sigma_px: 0.8, motion_px: 10.5, motion_deg: 82.0, ..PointSpread::default() };
    let kind = soft_along(told, seen, Witness::Silent).expect("a kind");
    assert!(matches!(kind.verdict, Verdict::Mixed) && kind.defocus_px == Some(2.5), "{kind:?}");
    // Of another motion the edges tell nothing: what is wide along it may be its doing.
    let other = KindReading { psf: PointSpread { motion_px: 5.8, motion_deg: 60.0, ..edges }, ..told };
    let kind = soft_along(other, seen, Witness::Silent).expect("a kind");
    assert!(matches!(kind.verdict, Verdict::Motion), "{kind:?}");
}

#[test]
fn stripes_of_one_picture_along_the_rows_give_way_to_edges_that_are_soft_along_them() {
    let seen = |motion_deg| PointSpread { sigma_px: 0.3, motion_px: 9.6, motion_deg, ..PointSpread::default() };
    let open = told(Verdict::Undetermined(""), 2.2, 0.3);
    let kind = |deg, witness| soft_along(open, seen(deg), witness).map(|k| k.verdict);
    assert!(matches!(kind(2.0, Witness::Silent), Some(Verdict::Undetermined(_))));
    assert!(matches!(kind(2.0, Witness::Agrees), Some(Verdict::Motion)));
    assert!(matches!(kind(22.0, Witness::Silent), Some(Verdict::Motion)));
}

#[test]
fn sharp_edges_are_doubted_where_many_stripes_and_the_edges_of_one_direction_show_the_same_motion() {
    let psf = PointSpread { sigma_px: 0.3, motion_px: 9.9, motion_deg: 150.0, ..PointSpread::default() };
    let kind = |smeared: bool, one_way, stripes| {
        let smeared = |_: &PointSpread| smeared;
        let widths = Widths { smeared: &smeared, ..silent(1.0) };
        let told = KindReading { one_way, ..told(Verdict::None, 0.75, 0.89) };
        let seen = Seen::Motion { psf, gain: 1.1, stripes, witness: Witness::Doubts };
        with_seen(Some(told), &widths, 1.23, seen, &|_| false).map(|k| k.verdict)
    };
    assert!(matches!(kind(true, false, 5.3), Some(Verdict::Undetermined(_))));
    assert!(matches!(kind(false, false, 5.3), Some(Verdict::None)));
    assert!(matches!(kind(true, true, 5.3), Some(Verdict::None)));
    assert!(matches!(kind(true, false, 2.0), Some(Verdict::None)));
}

#[test]
fn rings_that_a_motion_beside_the_disc_explains_better_are_no_disc_alone() {
    let disc = PointSpread { sigma_px: 0.3, defocus_px: 5.8, ..PointSpread::default() };
    let widths = silent(1.0);
    let kind = |told, alone| {
        with_seen(told, &widths, 1.23, Seen::Disc { psf: disc, twice: true, alone }, &|_| false).map(|k| k.verdict)
    };
    assert!(matches!(kind(None, true), Some(Verdict::Defocus)));
    assert!(matches!(kind(None, false), Some(Verdict::Undetermined(_))));
    let open = || Some(told(Verdict::Undetermined(""), 3.0, 0.3));
    assert!(matches!(kind(open(), true), Some(Verdict::Defocus)));
    assert!(matches!(kind(open(), false), Some(Verdict::Undetermined(_))));
    // Edges that have the shape of a disc themselves stand.
    let shaped = || KindReading::of(Verdict::Defocus, disc, 0.9);
    assert!(matches!(kind(Some(shaped()), false), Some(Verdict::Defocus)));
}
