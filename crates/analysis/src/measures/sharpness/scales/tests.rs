//! What hand-made spectra show together.

use super::super::spectrum_fit::SpectrumFit;
use super::*;

fn fit(motion_px: f64, motion_deg: f64, defocus_px: f64, cost: f64) -> SpectrumFit {
    SpectrumFit {
        psf: PointSpread { sigma_px: 0.6, motion_px, motion_deg, defocus_px, ..PointSpread::default() },
        cost,
    }
}

/// A spectrum of which disc, motion and both explain so much.
fn spectrum(step_px: f64, disc: (f64, f64), motion: (f64, f64, f64), both: (f64, f64, f64, f64)) -> Spectrum {
    let last_null = if step_px > 1.0 { 0.4 } else { 0.297 };
    let fits = [
        fit(0.0, 0.0, disc.0, 10.0 - disc.1),
        fit(motion.0, motion.1, 0.0, 10.0 - motion.2),
        fit(both.0, both.1, both.2, 10.0 - both.3),
    ];
    Spectrum::of(fit(0.0, 0.0, 0.0, 10.0), fits, (step_px, last_null, 0.2))
}

fn motion(step_px: f64, length_px: f64, deg: f64, gain: f64) -> Spectrum {
    spectrum(step_px, (2.0, 0.1), (length_px, deg, gain), (length_px, deg, 1.0, gain + 0.05))
}

#[test]
fn nulls_that_move_with_the_size_of_the_pixels_are_no_blur() {
    // Level waves of a sea: the end of each band looks like a motion along them.
    let waves = [motion(1.0, 4.5, 178.0, 0.86), motion(2.0, 6.6, 171.0, 0.3)];
    assert!(together(&waves).is_none());
    let same = [motion(1.0, 7.7, 110.0, 1.6), motion(2.0, 8.2, 112.0, 0.9)];
    assert!(matches!(together(&same), Some(Seen::Motion { psf, .. }) if psf.motion_px == 7.7));
    // Nor is what tiles show that are too short for the motion.
    let long = [motion(1.0, 12.7, 20.0, 0.3), motion(2.0, 17.5, 41.0, 1.0)];
    assert!(matches!(together(&long), Some(Seen::Motion { psf, .. }) if psf.motion_px == 17.5));
    // Nothing in the other picture is no contradiction.
    let alone = [motion(1.0, 5.1, 40.0, 0.7), motion(2.0, 7.0, 90.0, 0.05)];
    assert!(matches!(together(&alone), Some(Seen::Motion { .. })));
}

#[test]
fn motion_and_disc_are_both_there_where_two_pictures_show_the_same_pair() {
    let pair = |step_px, defocus_px| spectrum(step_px, (3.0, 0.9), (8.0, 60.0, 0.8), (7.5, 60.0, defocus_px, 1.7));
    assert!(
        matches!(together(&[pair(1.0, 3.0), pair(2.0, 3.1)]), Some(Seen::Motion { psf, .. }) if psf.defocus_px > 0.0)
    );
    // A disc that grows with the pixels is not: what is there stays open.
    assert!(matches!(together(&[pair(1.0, 2.3), pair(2.0, 3.3)]), Some(Seen::OneOrBoth)));
}

#[test]
fn a_long_pair_is_that_of_the_picture_that_explains_more() {
    let mosaic = spectrum(1.0, (4.9, 2.2), (8.2, 44.0, 1.2), (9.4, 122.0, 4.8, 3.7));
    let halved = spectrum(2.0, (5.0, 5.3), (11.4, 130.0, 2.8), (10.9, 128.0, 4.9, 8.9));
    assert!(matches!(together(&[mosaic, halved]), Some(Seen::Motion { psf, .. }) if psf.motion_px == 10.9));
    // A short one is measured well by both: lengths so far apart are not one motion's.
    let short = |step_px, motion_px| spectrum(step_px, (3.0, 0.9), (6.0, 60.0, 0.8), (motion_px, 60.0, 3.0, 1.7));
    assert!(matches!(together(&[short(1.0, 5.5), short(2.0, 6.4)]), Some(Seen::OneOrBoth)));
}

#[test]
fn a_disc_counts_as_seen_twice_where_both_pictures_show_it() {
    let disc = |step_px, gain| spectrum(step_px, (4.0, gain), (7.0, 20.0, 0.05), (6.0, 20.0, 4.0, gain));
    let twice = |gain| match together(&[disc(1.0, 2.1), disc(2.0, gain)]) {
        Some(Seen::Disc { twice, .. }) => twice,
        _ => panic!("a disc"),
    };
    assert!(twice(3.1) && !twice(0.1));
}

/// A motion of 8 px at 50 degrees that two pictures show, of whose spectra the other's motion explains that share.
fn held(coarse_px: f64, coarse_deg: f64, gain: f64, share: f64) -> (Witness, f64) {
    let mut spectra = [motion(1.0, 8.0, 50.0, 0.9), motion(2.0, coarse_px, coarse_deg, gain)];
    for spectrum in &mut spectra {
        spectrum.others_motion = share * spectrum.gain(&spectrum.plain, &spectrum.motion);
    }
    match together(&spectra) {
        Some(Seen::Motion { witness, stripes, .. }) => (witness, stripes),
        _ => panic!("a motion"),
    }
}

#[test]
fn another_picture_agrees_where_the_motion_of_either_explains_both() {
    let (witness, stripes) = held(8.3, 48.0, 0.5, 0.9);
    assert_eq!(witness, Witness::Agrees);
    // What both explain counts: (0.9 + 0.5) x 4 halved pixels.
    assert!((stripes - 5.6).abs() < 1e-9, "{stripes}");
    // The same by chance, too weak, or none of it: a motion of four halved pixels would show.
    assert_eq!(held(8.3, 48.0, 0.5, 0.3).0, Witness::Silent);
    assert_eq!(held(8.3, 48.0, 0.1, 0.9).0, Witness::Silent);
    assert_eq!(held(11.0, 95.0, 0.1, 0.9).0, Witness::Doubts);
}

#[test]
fn a_disc_wider_than_a_picture_is_searched_for_is_not_contradicted_by_it() {
    let disc = |step_px, radius, gain| spectrum(step_px, (radius, gain), (5.0, 86.0, 0.05), (5.0, 86.0, radius, gain));
    let wide = [disc(1.0, 2.5, 0.23), disc(2.0, 7.9, 3.7)];
    assert!(matches!(together(&wide), Some(Seen::Disc { psf, .. }) if psf.defocus_px == 7.9));
    assert!(together(&[disc(1.0, 2.5, 0.23), disc(2.0, 5.0, 3.7)]).is_none());
}

#[test]
fn shapes_that_explain_the_same_show_a_blur_of_unknown_kind() {
    let either = |least| spectrum(1.0, (2.3, least), (5.0, 20.0, least + 0.02), (4.8, 20.0, 1.2, least + 0.05));
    assert!(matches!(together(&[either(0.5)]), Some(Seen::OneOrBoth)));
    assert!(!matches!(together(&[either(0.2)]), Some(Seen::OneOrBoth)));
}

#[test]
fn a_coarse_picture_has_fewer_stripes_of_a_motion_in_its_band() {
    let stripes = |step_px| match together(&[motion(step_px, 12.5, 8.5, 0.35)]) {
        Some(Seen::Motion { stripes, .. }) => stripes,
        _ => panic!("a motion"),
    };
    assert!((stripes(2.0) - 2.1875).abs() < 1e-9 && (stripes(4.0) - 1.09375).abs() < 1e-9);
}

#[test]
fn a_null_outside_the_band_is_none() {
    assert!(!matches!(together(&[motion(1.0, 2.9, 33.0, 0.4)]), Some(Seen::Motion { .. })));
}

#[test]
fn a_disc_is_alone_where_a_motion_beside_it_explains_nothing_more() {
    let seen = |step_px, deg, radius_px, beyond: f64| {
        spectrum(step_px, (5.8, 3.3), (9.0, deg, 1.2), (9.0, deg, radius_px, 3.3 + beyond))
    };
    let alone = |spectra: &[Spectrum]| match together(spectra) {
        Some(Seen::Disc { alone, .. }) => alone,
        _ => panic!("a disc"),
    };
    assert!(alone(&[seen(1.0, 40.0, 5.7, 0.1)]) && !alone(&[seen(1.0, 40.0, 5.7, 0.7)]));
    // Along the rows two pictures must show the same.
    assert!(alone(&[seen(1.0, 90.0, 5.7, 0.7)]));
    assert!(!alone(&[seen(1.0, 90.0, 5.7, 0.7), seen(2.0, 92.0, 5.9, 0.7)]));
    assert!(alone(&[seen(1.0, 90.0, 5.7, 0.7), seen(2.0, 92.0, 8.0, 0.7)]));
}

#[test]
fn what_a_motion_adds_to_a_disc_is_the_scenes_up_to_a_share_of_what_the_disc_explains() {
    let alone = |disc, beyond: f64| {
        let seen = spectrum(1.0, (5.8, disc), (9.0, 40.0, 0.4 * disc), (9.0, 40.0, 5.7, disc + beyond));
        matches!(together(&[seen]), Some(Seen::Disc { alone: true, .. }))
    };
    // 0.225 of 1.5; of a weaker disc what counts as a gain at all.
    assert!(alone(1.5, 0.2) && !alone(1.5, 0.3));
    assert!(alone(0.8, 0.16) && !alone(0.8, 0.2));
}

#[test]
fn another_picture_agrees_on_stripes_along_the_rows_only_where_it_shows_them_clearly() {
    // The waves of a sharp sea: 0.93 and 0.21 of what is left unexplained.
    let agrees = |deg, gain| {
        let mut spectra = [motion(1.0, 6.3, deg, 0.93), motion(2.0, 6.8, deg, gain)];
        for spectrum in &mut spectra {
            spectrum.others_motion = 0.8 * spectrum.gain(&spectrum.plain, &spectrum.motion);
        }
        matches!(together(&spectra), Some(Seen::Motion { witness: Witness::Agrees, .. }))
    };
    assert!(!agrees(1.0, 0.21) && agrees(1.0, 0.6) && agrees(21.0, 0.21));
}
