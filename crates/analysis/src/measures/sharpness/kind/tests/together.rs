//! What edges and spectra as one make of it.

use super::super::super::power::Picture;
use super::super::super::scales::{LEAST_CLAIM, wide};
use super::super::super::spectrum::tests::{NOISE, texture};
use super::super::super::spectrum::{Read, read_two};
use super::super::super::window::Source;
use super::super::*;
use super::{behind, open, reading};

/// Spectra of texture behind a point spread, in pixels of two and of four sensor pixels.
fn spectra(psf: &PointSpread, seed: u64) -> Vec<Read> {
    let fine = texture(psf, seed);
    let coarse = fine.next();
    read_two(&[&fine, &coarse].map(|level| Picture { source: Source::Level(level), noise: NOISE }))
}

/// The same edges with errors as large as stacks are taken to have, one point up and one down.
fn rough(mut stacks: Vec<Stack>) -> Vec<Stack> {
    for point in stacks.iter_mut().flat_map(|stack| stack.points.iter_mut().enumerate()) {
        point.1.level += if point.0 % 2 == 0 { 0.008 } else { -0.008 };
    }
    stacks
}

#[test]
fn texture_tells_a_disc_from_a_motion_where_edges_that_face_one_way_do_not() {
    let sharp = PointSpread { sigma_px: 0.7, ..PointSpread::default() };
    let disc = PointSpread { defocus_px: 7.0, ..sharp };
    // As wide as the disc, across the same edges.
    let motion = PointSpread { motion_px: 12.1, motion_deg: 91.0, ..sharp };
    let open = reading(Verdict::Undetermined("one direction"), 3.6);
    let one_way = KindReading { one_way: true, ..KindReading::of(Verdict::Mixed, motion, 0.55) };
    for (seed, told) in [(21, open), (22, one_way)] {
        let told = |psf: &PointSpread| {
            together(Some(&told), &behind(psf, &[88.0, 93.0]), &spectra(psf, seed), allowance_px(None))
        };
        let found = told(&disc).expect("a kind");
        assert!(matches!(found.verdict, Verdict::Defocus), "{found:?}");
        assert!(found.defocus_px.is_some_and(|r| (r / 7.0 - 1.0).abs() < 0.05), "{found:?}");
        assert!(told(&motion).is_none_or(|k| !matches!(k.verdict, Verdict::Defocus)));
    }
}

#[test]
fn missed_focus_for_the_width_alone_is_open_where_edges_and_texture_show_a_motion() {
    // The grain of a wall: its own edges are soft, and those across the motion are smeared beyond finding.
    let soft = PointSpread { sigma_px: 1.8, ..PointSpread::default() };
    let edges = behind(&soft, &[93.0, 96.0, 99.0]);
    let told = |psf: &PointSpread, shape_px| {
        let edges_psf = PointSpread { defocus_px: shape_px, ..soft };
        let told = KindReading::of(Verdict::Defocus, edges_psf, 0.7);
        together(Some(&told), &edges, &spectra(psf, 25), allowance_px(None))
    };
    let motion = PointSpread { sigma_px: 0.6, motion_px: 12.0, motion_deg: 6.0, ..PointSpread::default() };
    let found = told(&motion, 0.0).expect("another kind");
    assert!(open(&found), "{found:?}");
    // Not where the edges have the shape of a disc, nor where the texture shows one, or none.
    assert!(told(&motion, 3.6).is_none());
    assert!(told(&PointSpread { defocus_px: 3.6, ..PointSpread::default() }, 0.0).is_none());
    assert!(told(&soft, 0.0).is_none());
}

#[test]
fn few_stripes_and_rings_in_both_pictures_overrule_one_part_that_was_named_but_rows_of_the_scene_do_not() {
    let told = KindReading::of(Verdict::Defocus, PointSpread { defocus_px: 7.4, ..PointSpread::default() }, 0.75);
    let found = |motion_deg, motion_px| {
        let psf = PointSpread { sigma_px: 0.6, defocus_px: 8.0, motion_px, motion_deg, ..PointSpread::default() };
        together(Some(&told), &[], &spectra(&psf, 23), allowance_px(None)).map(|k| k.verdict)
    };
    assert!(matches!(found(35.0, 22.0), Some(Verdict::Mixed)));
    assert!(found(3.0, 22.0).is_none() && found(35.0, 0.0).is_none());
}

#[test]
fn a_motion_beside_a_disc_across_which_no_edge_lies_leaves_the_kind_open() {
    let disc = PointSpread { sigma_px: 0.6, defocus_px: 5.0, ..PointSpread::default() };
    let told = KindReading::of(Verdict::Defocus, disc, 0.75);
    let found = |motion_px, degs: &[f64]| {
        let psf = PointSpread { motion_px, motion_deg: 35.0, ..disc };
        together(Some(&told), &behind(&disc, degs), &spectra(&psf, 23), allowance_px(None)).map(|k| k.verdict)
    };
    let across = [112.0, 118.0, 125.0, 133.0];
    assert!(found(14.0, &across).is_some_and(|verdict| !matches!(verdict, Verdict::Defocus)));
    // Not without the motion, nor where edges across it show none.
    assert!(found(0.0, &across).is_none());
    assert!(found(14.0, &[5.0, 20.0, 35.0, 50.0, 80.0, 118.0, 125.0]).is_none_or(|v| matches!(v, Verdict::Defocus)));
}

#[test]
fn a_motion_that_is_short_against_the_disc_is_named_where_many_edges_and_both_spectra_have_it() {
    let disc = PointSpread { sigma_px: 0.9, defocus_px: 14.0, ..PointSpread::default() };
    let told = KindReading::of(Verdict::Defocus, disc, 0.97);
    let degs: Vec<f64> = (0..12).map(|k| 15.0 * f64::from(k)).collect();
    let found = |motion_px, motion_deg| {
        let psf = PointSpread { motion_px, motion_deg, ..disc };
        together(Some(&told), &behind(&psf, &degs), &spectra(&psf, 39), allowance_px(None))
    };
    let named = found(13.0, 35.0).expect("another kind");
    assert!(!motion_counts(&PointSpread { motion_px: 13.0, ..disc }));
    assert!(matches!(named.verdict, Verdict::Mixed), "{named:?}");
    assert!((named.psf.motion_px / 13.0 - 1.0).abs() < 0.15, "{named:?}");
    assert!(found(1.0, 35.0).is_none() && found(0.0, 0.0).is_none());
}

#[test]
fn directions_that_differ_without_a_spectrum_to_show_why_are_no_motion_beside_a_disc() {
    let disc = PointSpread { sigma_px: 0.6, defocus_px: 5.0, ..PointSpread::default() };
    let both = PointSpread { motion_px: 8.0, motion_deg: 35.0, ..disc };
    let differ = reading(Verdict::Undetermined("as much as scenes differ"), 2.7);
    let found = |texture: &PointSpread| {
        let edges = rough(behind(&both, &[5.0, 35.0, 65.0, 125.0, 155.0]));
        together(Some(&differ), &edges, &spectra(texture, 37), allowance_px(None)).map(|k| k.verdict)
    };
    assert!(matches!(found(&both), Some(Verdict::Mixed)));
    assert!(!matches!(found(&disc), Some(Verdict::Mixed)));
}

#[test]
fn a_motion_is_named_where_the_edges_and_both_spectra_prefer_it_each_by_itself() {
    let sharp = PointSpread { sigma_px: 0.7, ..PointSpread::default() };
    let motion = PointSpread { motion_px: 12.0, motion_deg: 35.0, ..sharp };
    let disc = PointSpread { defocus_px: 6.0, ..sharp };
    let contradict = reading(Verdict::Undetermined("directions contradict each other"), 2.5);
    let told = |edges: &PointSpread, texture: &PointSpread| {
        let edges = behind(edges, &[12.0, 60.0, 100.0, 150.0]);
        together(Some(&contradict), &edges, &spectra(texture, 27), allowance_px(None))
    };
    let found = told(&motion, &motion).expect("a kind");
    assert!(matches!(found.verdict, Verdict::Motion), "{found:?}");
    assert!((found.psf.motion_px / 12.0 - 1.0).abs() < 0.05, "{found:?}");
    for (edges, texture) in [(&disc, &motion), (&motion, &disc), (&motion, &sharp), (&sharp, &motion)] {
        let found = told(edges, texture);
        assert!(found.is_none_or(|k| !matches!(k.verdict, Verdict::Motion)), "{edges:?} {texture:?}");
    }
}

#[test]
fn a_motion_along_edges_that_face_one_way_is_named_where_both_spectra_show_it_plainly_and_open_where_they_hardly_do() {
    let sharp = PointSpread { sigma_px: 0.7, ..PointSpread::default() };
    let along = |motion_px, motion_deg| PointSpread { motion_px, motion_deg, ..sharp };
    let told = |one_way, texture: &PointSpread| {
        let told = KindReading { one_way, ..reading(Verdict::None, 0.75) };
        together(Some(&told), &behind(&sharp, &[88.0, 93.0]), &spectra(texture, 29), allowance_px(None))
    };
    for texture in [along(12.0, 2.0), along(17.0, 174.0)] {
        let found = told(true, &texture).expect("another kind");
        assert!(matches!(found.verdict, Verdict::Motion), "{found:?}");
        assert!((found.psf.motion_px / texture.motion_px - 1.0).abs() < 0.08, "{found:?}");
        assert!(told(false, &texture).is_none(), "{texture:?}");
    }
    assert!(told(true, &along(9.25, 2.0)).is_some_and(|k| open(&k)));
    assert!(told(true, &sharp).is_none());
    // Across them they would show it.
    assert!(told(true, &along(12.0, 88.0)).is_none());
}

#[test]
fn wide_edges_that_face_one_way_beside_a_motion_along_them_are_out_of_focus_as_well() {
    let disc = PointSpread { sigma_px: 0.7, defocus_px: 7.0, ..PointSpread::default() };
    let told = |texture: &PointSpread| {
        let told = reading(Verdict::Undetermined("one direction"), disc.variance(0.0).sqrt());
        let found = together(Some(&told), &behind(&disc, &[88.0, 93.0]), &spectra(texture, 29), allowance_px(None));
        found.map(|k| k.verdict)
    };
    assert!(matches!(told(&PointSpread { motion_px: 18.0, motion_deg: 2.0, ..disc }), Some(Verdict::Mixed)));
    let moved = |k: Option<Verdict>| matches!(k, Some(Verdict::Motion | Verdict::Mixed));
    assert!(!moved(told(&disc)));
}

#[test]
fn a_motion_that_widens_one_direction_is_named_where_a_spectrum_has_the_same() {
    let sharp = PointSpread { sigma_px: 0.5, ..PointSpread::default() };
    let moved = PointSpread { motion_px: 6.0, motion_deg: 9.0, ..sharp };
    let stacks = behind(&moved, &[0.5, 89.0, 91.0]);
    let none = reading(Verdict::None, 0.55);
    let told = |edges: &[Stack], psf: &PointSpread, seed| {
        together(Some(&none), edges, &spectra(psf, seed), allowance_px(None))
    };
    let found = told(&stacks, &moved, 61).expect("a motion");
    assert!(matches!(found.verdict, Verdict::Motion) && (found.psf.motion_px - 6.0).abs() < 0.3, "{found:?}");
    // The scene's own soft direction, and texture with another motion than the edges.
    let across = PointSpread { motion_deg: 60.0, ..moved };
    assert!(told(&stacks, &sharp, 62).is_none() && told(&stacks, &across, 63).is_none());
    assert!(told(&behind(&sharp, &[0.5, 89.0, 91.0]), &moved, 64).is_none());
}

#[test]
fn edges_and_spectra_together_mend_the_figures_of_a_motion_and_disc() {
    let truth =
        PointSpread { sigma_px: 0.5, motion_px: 11.0, motion_deg: 35.0, defocus_px: 4.0, ..PointSpread::default() };
    let stacks = behind(&truth, &[0.5, 89.0, 91.0]);
    // As far off as edges of two directions leave it.
    let off = PointSpread { motion_px: 11.6, motion_deg: 43.0, ..truth };
    let told = KindReading::of(Verdict::Mixed, off, 0.9);
    let told = KindReading { mirrored: Some(off), ..told };
    let seen = spectra(&truth, 71);
    let allowance = allowance_px(None);
    let found = refined(told, &stacks, &seen, allowance);
    assert!((found.psf.motion_px - 11.0).abs() < 0.45 && (found.psf.motion_deg - 35.0).abs() < 3.0, "{found:?}");
    // Both have chosen the direction.
    assert!(found.mirrored.is_none());
    // One spectrum alone has no say, and none where no disc was named.
    assert_eq!(refined(told, &stacks, &seen[..1], allowance).psf, off);
    assert_eq!(refined(KindReading::of(Verdict::Motion, off, 0.9), &stacks, &seen, allowance).psf, off);
}

#[test]
fn figures_are_mended_only_where_they_stay_those_of_the_same_motion_and_disc() {
    let truth =
        PointSpread { sigma_px: 0.5, motion_px: 11.0, motion_deg: 35.0, defocus_px: 4.0, ..PointSpread::default() };
    let (stacks, seen, allowance) = (behind(&truth, &[0.5, 89.0, 91.0]), spectra(&truth, 71), allowance_px(None));
    // Step by step both witnesses lead to the truth, however far it is.
    let far = [
        PointSpread { motion_deg: 53.0, ..truth },
        PointSpread { motion_px: 15.0, ..truth },
        PointSpread { defocus_px: 5.6, ..truth },
    ];
    for told in &far {
        let gone = jointly::refined(ShapeFitter::new(&stacks), &seen, told, 108.0).expect("two spectra");
        assert!((gone.motion_deg - 35.0).abs() < 3.0 && (gone.defocus_px - 4.0).abs() < 0.3, "{gone:?}");
        assert!(!super::super::together::still(told, &gone, allowance), "{told:?}");
    }
    // What was told is kept then; a spectrum shows it to some extent.
    let none = PointSpread::default();
    assert!(seen.iter().any(|read| read.left_ln(&none) - read.left_ln(&far[0]) > LEAST_CLAIM));
    let told = KindReading { mirrored: Some(far[1]), ..KindReading::of(Verdict::Mixed, far[0], 0.9) };
    let found = refined(told, &stacks, &seen, allowance);
    assert!(found.psf == far[0] && found.defocus_px == Some(4.0) && found.mirrored == told.mirrored, "{found:?}");
    let still = |one: (f64, f64, f64), other: (f64, f64, f64)| {
        let psf = |(motion_px, motion_deg, defocus_px)| PointSpread { motion_px, motion_deg, defocus_px, ..truth };
        super::super::together::still(&psf(one), &psf(other), allowance)
    };
    assert!(still((11.0, 35.0, 4.0), (12.0, 40.0, 4.4)));
    // Near by, but too short, too small, no wider than lenses or a row of the scene.
    assert!(!still((2.0, 35.0, 1.4), (1.65, 35.0, 1.4)));
    assert!(!still((11.0, 35.0, 1.4), (11.0, 35.0, 1.2)));
    assert!(!still((11.0, 35.0, 2.2), (11.0, 35.0, 1.9)));
    assert!(!still((11.0, 12.0, 4.0), (11.0, 5.0, 4.0)));
    // What was named without it is not asked for it.
    assert!(still((11.0, 5.0, 1.9), (11.0, 4.0, 1.8)));
}

#[test]
fn a_disc_whose_rings_lie_beyond_the_spectra_is_named_beside_a_motion_only_where_the_edges_show_it() {
    let contradict = reading(Verdict::Undetermined("directions contradict each other"), 2.5);
    let sharp = PointSpread { sigma_px: 0.6, motion_px: 12.0, motion_deg: 35.0, ..PointSpread::default() };
    let few = [12.0, 60.0, 100.0, 150.0];
    let many = [5.0, 35.0, 65.0, 95.0, 125.0, 155.0];
    // The first ring of a disc of 2.8 px lies beyond a halved picture, that of one of 3.3 px in it.
    for (defocus_px, degs, ring, shown) in
        [(2.8, &few[..], false, false), (2.8, &many[..], false, true), (3.3, &few[..], true, true)]
    {
        let pair = PointSpread { defocus_px, ..sharp };
        let (edges, seen) = (behind(&pair, degs), spectra(&pair, 91));
        let found = jointly::Jointly::of(&edges, &seen).expect("two spectra");
        let plainer = found.plainer();
        // Both witnesses together prefer the pair in any case.
        assert!(plainer.all() - found.pair.all() > 45.0);
        assert_eq!(seen.iter().any(|read| wide(&read.spectrum, &found.pair.psf)), ring);
        let named = together(Some(&contradict), &edges, &seen, allowance_px(None));
        assert_eq!(named.is_some_and(|k| matches!(k.verdict, Verdict::Mixed)), shown, "{defocus_px} {named:?}");
    }
}

#[test]
fn a_motion_that_one_direction_and_a_spectrum_show_is_named_however_much_noise_leaves() {
    // Edges at right angles to each other are as wide behind a softer lens: only those between them tell.
    let sharp = PointSpread { sigma_px: 0.5, ..PointSpread::default() };
    let moved = PointSpread { motion_px: 5.2, motion_deg: 45.0, ..sharp };
    let softer = PointSpread { sigma_px: 1.17, ..sharp };
    let degs = [0.5, 48.0, 89.0, 179.0];
    let told = |told: &KindReading, edges: &PointSpread, texture: &PointSpread, seed| {
        together(Some(told), &rough(behind(edges, &degs)), &spectra(texture, seed), allowance_px(None))
    };
    let none = reading(Verdict::None, 1.1);
    let open = reading(Verdict::Undetermined("for one direction alone"), 1.1);
    for (seed, before) in [(81, none), (82, open)] {
        let found = told(&before, &moved, &moved, seed).expect("a motion");
        assert!(matches!(found.verdict, Verdict::Motion), "{found:?}");
        assert!((found.psf.motion_px - 5.2).abs() < 0.3 && (found.psf.motion_deg - 45.0).abs() < 3.0, "{found:?}");
    }
    // A softer lens, and texture that stood still or moved another way.
    let another = PointSpread { motion_deg: 100.0, ..moved };
    for (seed, edges, texture) in [(83, softer, softer), (84, moved, sharp), (85, moved, another), (86, softer, moved)]
    {
        let found = told(&none, &edges, &texture, seed);
        assert!(found.is_none_or(|k| !matches!(k.verdict, Verdict::Motion)), "{edges:?} {texture:?}: {found:?}");
    }
}
