//! What directions make of a kind, on hand-made readings.

mod together;

use super::super::stack::Point;
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

#[test]
fn edges_of_one_direction_softer_than_most_lenses_leave_them_show_no_sharp_frame() {
    let told = |sigma_px| read(&behind(&PointSpread { sigma_px, ..PointSpread::default() }, &[0.5, 178.0]), None);
    assert!(matches!(told(0.6).verdict, Verdict::None));
    // A motion of 2.3 px behind a sharp lens is as wide.
    assert!(open(&told(0.88)), "{:?}", told(0.88));
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
