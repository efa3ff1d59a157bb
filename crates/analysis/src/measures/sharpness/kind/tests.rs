//! What directions make of a kind, on hand-made readings.

use super::super::power::Picture;
use super::super::scales::{LEAST_CLAIM, wide};
use super::super::spectrum::tests::{NOISE, texture};
use super::super::spectrum::{Read, read_two};
use super::super::stack::Point;
use super::super::window::Source;
use super::*;

fn reading(verdict: Verdict, sigma_px: f64) -> KindReading {
    KindReading::of(verdict, PointSpread { sigma_px, ..PointSpread::default() }, 0.7)
}

fn open(reading: &KindReading) -> bool {
    matches!(reading.verdict, Verdict::Undetermined(_))
}

#[test]
fn few_edges_near_the_allowance_tell_neither_a_sharp_frame_nor_missed_focus() {
    let allowance = allowance_px(None);
    let few = |verdict, sigma_px| reading(verdict, sigma_px).doubted_among_few(&[], 38, allowance);
    assert!(open(&few(Verdict::None, 1.02)));
    assert!(!open(&few(Verdict::None, 0.8)));
    assert!(open(&few(Verdict::Defocus, 1.2)));
    assert!(!open(&few(Verdict::Defocus, 1.5)));
    let many = |verdict, sigma_px| reading(verdict, sigma_px).doubted_among_few(&[], 60, allowance);
    assert!(!open(&many(Verdict::None, 1.02)) && !open(&many(Verdict::Defocus, 1.2)));
}

#[test]
fn edges_of_fine_texture_show_no_missed_focus_by_their_width() {
    let wide = reading(Verdict::Defocus, 2.5);
    assert!(open(&wide.doubted_in_texture(11)) && !open(&wide.doubted_in_texture(12)));
    // The shape of a disc is no grain's, and sharp edges are sharp.
    let disc = PointSpread { sigma_px: 0.6, defocus_px: 4.0, ..PointSpread::default() };
    assert!(!open(&KindReading::of(Verdict::Defocus, disc, 0.7).doubted_in_texture(0)));
    assert!(!open(&reading(Verdict::None, 0.7).doubted_in_texture(0)));
}

#[test]
fn directions_that_hardly_differ_need_a_motion_that_explains_much() {
    let stack = |deg: f64| {
        let (sin, cos) = (2.0 * deg.to_radians()).sin_cos();
        Stack { points: Vec::new(), double_angle: (cos, sin), deg, extra_px2: 0.0, sigma_px: 1.7, trust: 1.0 }
    };
    let stacks = [stack(6.0), stack(96.0)];
    let told = |motion_deg, round, moved| {
        let psf = PointSpread { sigma_px: 0.9, motion_px: 6.5, motion_deg, ..PointSpread::default() };
        RoundOrMoved { round, moved }.little_told(&stacks, &psf)
    };
    // Half way between two directions a motion widens both alike, as a disc does.
    assert!(told(143.0, 90.0, 80.0) && !told(143.0, 90.0, 40.0));
    // Along one of them it does not.
    assert!(!told(10.0, 90.0, 80.0));
}

#[test]
fn only_plain_edges_put_a_subject_in_focus_before_a_soft_background() {
    let allowance = allowance_px(None);
    let held = |plain_px| {
        reading(Verdict::Defocus, 1.6).held_against(SharpEnds { all_px: 0.73, plain_px }, |_| (None, None), allowance)
    };
    assert!(matches!(held(Some(0.73)).verdict, Verdict::None));
    // The sharp edges are flanks of thin lines: the disc stands.
    assert!(matches!(held(None).verdict, Verdict::Defocus));
    assert!(matches!(held(Some(1.5)).verdict, Verdict::Defocus));
}

/// Stacked edges behind a point spread, of the shape that its closed form has, at each of these directions.
fn behind(psf: &PointSpread, degs: &[f64]) -> Vec<Stack> {
    let stack = |&deg: &f64| {
        let sigma_px = psf.variance(deg).sqrt();
        let spread = psf.edge_spread(deg);
        let points = (0..36).map(|k| (f64::from(k) - 17.5) / 6.0 * sigma_px);
        let points = points.map(|t_px| Point { t_px, level: spread.at(t_px), weight: 0.8 / 0.008_f64.powi(2) });
        let (sin, cos) = (2.0 * deg.to_radians()).sin_cos();
        Stack { points: points.collect(), double_angle: (cos, sin), deg, extra_px2: 0.0, sigma_px, trust: 0.8 }
    };
    degs.iter().map(stack).collect()
}

#[test]
fn edges_of_two_directions_tell_a_motion_between_them_from_a_disc_and_a_motion_along_one() {
    for (length_px, deg) in [(8.7, 56.0), (7.0, 68.0), (12.0, 158.0), (10.0, 115.0)] {
        let truth = PointSpread { sigma_px: 0.7, motion_px: length_px, motion_deg: deg, ..PointSpread::default() };
        let told = read(&behind(&truth, &[0.5, 89.5, 90.5, 179.0]), None);
        assert!(matches!(told.verdict, Verdict::Motion), "{truth:?}: {told:?}");
        assert!((told.psf.motion_px / length_px - 1.0).abs() < 0.05, "{truth:?}: {told:?}");
    }
    for (length_px, deg, radius_px) in [(4.7, 86.0, 3.5), (6.0, 3.0, 3.2), (8.0, 91.0, 5.0)] {
        let motion = PointSpread { sigma_px: 0.6, motion_px: length_px, motion_deg: deg, ..PointSpread::default() };
        let truth = PointSpread { defocus_px: radius_px, ..motion };
        let told = read(&behind(&truth, &[3.0, 93.0]), None);
        assert!(matches!(told.verdict, Verdict::Mixed), "{truth:?}: {told:?}");
        assert!(told.defocus_px.is_some_and(|r| (r / radius_px - 1.0).abs() < 0.15), "{truth:?}: {told:?}");
    }
}

/// Spectra of texture behind a point spread, in pixels of two and of four sensor pixels.
fn spectra(psf: &PointSpread, seed: u64) -> Vec<Read> {
    let fine = texture(psf, seed);
    let coarse = fine.next();
    read_two(&[&fine, &coarse].map(|level| Picture { source: Source::Level(level), noise: NOISE }))
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
fn sharp_edges_that_face_one_way_leave_a_motion_along_them_open_where_both_spectra_show_it() {
    let sharp = PointSpread { sigma_px: 0.7, ..PointSpread::default() };
    let along = |motion_px, motion_deg| PointSpread { motion_px, motion_deg, ..sharp };
    let told = |one_way, texture: &PointSpread| {
        let told = KindReading { one_way, ..reading(Verdict::None, 0.75) };
        together(Some(&told), &behind(&sharp, &[88.0, 93.0]), &spectra(texture, 29), allowance_px(None))
    };
    for texture in [along(12.0, 2.0), along(17.0, 174.0)] {
        assert!(told(true, &texture).is_some_and(|k| open(&k)), "{texture:?}");
        assert!(told(false, &texture).is_none(), "{texture:?}");
    }
    assert!(told(true, &sharp).is_none());
    // Across them they would show it.
    assert!(told(true, &along(12.0, 88.0)).is_none());
}

#[test]
fn edges_of_one_direction_softer_than_most_lenses_leave_them_show_no_sharp_frame() {
    let told = |sigma_px| read(&behind(&PointSpread { sigma_px, ..PointSpread::default() }, &[0.5, 178.0]), None);
    assert!(matches!(told(0.6).verdict, Verdict::None));
    // A motion of 2.3 px behind a sharp lens is as wide.
    assert!(open(&told(0.88)), "{:?}", told(0.88));
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
        assert!(!together::still(told, &gone, allowance), "{told:?}");
    }
    // What was told is kept then; a spectrum shows it to some extent.
    let none = PointSpread::default();
    assert!(seen.iter().any(|read| read.left_ln(&none) - read.left_ln(&far[0]) > LEAST_CLAIM));
    let told = KindReading { mirrored: Some(far[1]), ..KindReading::of(Verdict::Mixed, far[0], 0.9) };
    let found = refined(told, &stacks, &seen, allowance);
    assert!(found.psf == far[0] && found.defocus_px == Some(4.0) && found.mirrored == told.mirrored, "{found:?}");
    let still = |one: (f64, f64, f64), other: (f64, f64, f64)| {
        let psf = |(motion_px, motion_deg, defocus_px)| PointSpread { motion_px, motion_deg, defocus_px, ..truth };
        together::still(&psf(one), &psf(other), allowance)
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

/// Edges of one direction of which that share is those behind a disc of 5 px, the rest those behind a motion as wide whose lens
/// is softer.
fn between(share: f64) -> Vec<Stack> {
    let degs = [0.5, 178.0];
    let disc = PointSpread { sigma_px: 0.45, defocus_px: 5.0, ..PointSpread::default() };
    let motion = PointSpread { sigma_px: 0.868, motion_px: 8.25, ..PointSpread::default() };
    let mut stacks = behind(&disc, &degs);
    for (stack, &deg) in stacks.iter_mut().zip(&degs) {
        let (disc, motion) = (disc.edge_spread(deg), motion.edge_spread(deg));
        for p in &mut stack.points {
            p.level = share * disc.at(p.t_px) + (1.0 - share) * motion.at(p.t_px);
        }
    }
    stacks
}

#[test]
fn lenses_decide_where_edges_of_one_direction_have_nearly_as_much_of_either_shape() {
    let told = |share, diffraction| read(&between(share), diffraction).verdict;
    let (little, unknown) = (Some(0.3), None);
    // 4 units for a disc: those of the motion's lens, of 0.95 px, are added.
    assert!(matches!(told(0.572, little), Verdict::Defocus));
    assert!(matches!(told(0.572, unknown), Verdict::Undetermined(_)));
    // Behind so much diffraction it is no soft lens.
    assert!(matches!(told(0.572, Some(2.2)), Verdict::Undetermined(_)));
    // 4 units for a motion, and none for either.
    assert!(matches!(told(0.557, little), Verdict::Undetermined(_)));
    assert!(matches!(told(0.5643, little), Verdict::Undetermined(_)));
    // Clear shapes are named as they are.
    for diffraction in [little, unknown] {
        assert!(matches!(told(0.54, diffraction), Verdict::Motion));
        assert!(matches!(told(0.59, diffraction), Verdict::Defocus));
    }
}

#[test]
fn a_motion_behind_a_soft_lens_that_edges_of_one_direction_show_is_no_disc_and_no_pair() {
    let told = |motion_px, sigma_px, diffraction| {
        let psf = PointSpread { sigma_px, motion_px, ..PointSpread::default() };
        read(&behind(&psf, &[0.5, 178.0]), diffraction).verdict
    };
    for diffraction in [None, Some(0.3)] {
        for (motion_px, sigma_px) in [(5.0, 1.0), (6.5, 1.2), (8.0, 1.0), (8.0, 1.2), (12.0, 1.2)] {
            assert!(matches!(told(motion_px, sigma_px, diffraction), Verdict::Motion), "{motion_px} {sigma_px}");
        }
        // Too short for its shape to show.
        assert!(matches!(told(5.0, 1.2, diffraction), Verdict::Undetermined(_)));
    }
}

/// The same edges with errors as large as stacks are taken to have, one point up and one down.
fn rough(mut stacks: Vec<Stack>) -> Vec<Stack> {
    for point in stacks.iter_mut().flat_map(|stack| stack.points.iter_mut().enumerate()) {
        point.1.level += if point.0 % 2 == 0 { 0.008 } else { -0.008 };
    }
    stacks
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

#[test]
fn all_directions_together_have_one_lens_behind_a_motion() {
    let degs = [6.6, 17.4, 161.6, 173.7];
    let sharp = |psf: &PointSpread| {
        let stacks = behind(psf, &degs);
        let fits = Fits::of(&ShapeFitter::new(&stacks), &stacks, None);
        behind_a_sharp_lens(&fits, CLEANEST, allowance_px(None))
    };
    let lens = PointSpread { sigma_px: 0.45, ..PointSpread::default() };
    let motion = PointSpread { motion_px: 7.7, motion_deg: 141.0, ..lens };
    assert!(sharp(&motion));
    // A disc beside it, or alone, and a lens that is softer than good ones are.
    for other in [
        PointSpread { defocus_px: 3.0, ..motion },
        PointSpread { defocus_px: 4.0, ..lens },
        PointSpread { sigma_px: 1.1, ..motion },
    ] {
        assert!(!sharp(&other), "{other:?}");
    }
}
