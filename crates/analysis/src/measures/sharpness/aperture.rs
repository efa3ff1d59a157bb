//! The shape that the aperture gives the edges of a frame: diffraction has tails, which a single edge's fit does not see.
//!
//! A file that states an f-number states diffraction: no lens leaves less. Its line spread falls as one over the square of the
//! distance, so that at x px from an edge 2 a / (pi^3 x) of the step is still to come (a: wavelength times f-number over the
//! pitch; own derivation from the slope of the transfer function at 0, -4 a / pi). A Gaussian as wide as the edges ends long
//! before: where the sides are still plain, from 3 of its standard deviations on, the two differ most. The edges decide, and the
//! file where they tell nothing.

use super::edge::Edge;
use super::psf::{AIRY_RISE, PointSpread};
use super::shape::{Parts, ShapeFitter};
use super::stack::stacks_reaching;

/// Half-width of the stacks in which the shape is looked for, standard deviations of the edges: as far as windows mostly reach.
const REACH: f32 = 4.5;
/// Wavelength times f-number, over the standard deviation of the edges, below which it changes their rise by 1 % at the most.
const LEAST: f64 = 0.1;
/// The round spread `psf` with the shape of the aperture, unless the edges contradict it. What the kind of blur has told of the
/// shape stays.
pub(super) fn shaped(edges: &[&Edge], psf: &PointSpread, diffraction_rise_px: Option<f64>) -> PointSpread {
    let airy_px = diffraction_rise_px.unwrap_or(0.0) / AIRY_RISE;
    let told = psf.motion_px > 0.0 || psf.defocus_px > 0.0 || psf.airy_px > 0.0;
    if told || airy_px < LEAST * psf.variance(0.0).sqrt() {
        return *psf;
    }
    let stacks = stacks_reaching(edges, REACH);
    let fitter = ShapeFitter::new(&stacks);
    let round = Parts { motion: false, turn: false, disc: false };
    let plain = fitter.fit(round, *psf);
    let diffracted = fitter.fit(round, PointSpread { airy_px, ..*psf });
    let contradicted = diffracted.chi2 > plain.chi2;
    PointSpread { airy_px: if contradicted { 0.0 } else { airy_px }, ..*psf }
}

#[cfg(test)]
mod tests {
    use super::super::edge::{POINTS_PER_PX, PROFILE_POINTS, PROFILE_REACH};
    use super::super::summary::sharp_mean_ln;
    use super::*;
    use crate::test_frames::Noise;

    /// Edges of six directions with that spread, as far as a window reaches, with noise of a fiftieth of the step in each sample.
    fn edges(psf: &PointSpread) -> Vec<Edge> {
        let spread = psf.edge_spread(0.0);
        let sigma_px = psf.fitted_sigma_px();
        let reach = 2.6 * sigma_px + 1.3;
        let mut rng = Noise::new(3);
        (0..48)
            .map(|k| {
                let mut edge = Edge::facing(30.0 * (k % 6) as f32 + 4.0, sigma_px as f32);
                edge.contrast_to_noise = 50.0;
                for point in 0..PROFILE_POINTS {
                    let t = f64::from((point as f32 + 0.5) / POINTS_PER_PX - PROFILE_REACH);
                    if t.abs() < reach {
                        edge.profile.count[point] = 4;
                        edge.profile.sum[point] = (4.0 * spread.at(t) + 0.04 * rng.normal()) as f32;
                    }
                }
                edge
            })
            .collect()
    }

    #[test]
    fn edges_of_a_lens_have_the_shape_of_its_aperture_and_those_of_a_gaussian_have_not() {
        for sigma_px in [0.4, 0.6, 0.9] {
            for airy_px in [0.5, 0.8, 1.2] {
                let told = |psf: PointSpread| {
                    let edges = edges(&psf);
                    let edges: Vec<&Edge> = edges.iter().collect();
                    let readings: Vec<_> = edges.iter().map(|e| e.reading()).collect();
                    let sigma_px = sharp_mean_ln(&readings).map_or(1.0, |(ln, _)| ln.exp());
                    let seen = PointSpread { sigma_px, ..PointSpread::default() };
                    shaped(&edges, &seen, Some(AIRY_RISE * airy_px)).airy_px
                };
                let lens = PointSpread { sigma_px, airy_px, ..PointSpread::default() };
                assert!((told(lens) - airy_px).abs() < 1e-9, "{lens:?}");
                // A Gaussian on which the fit of a single edge reads the same.
                let alike = (lens.fitted_sigma_px().powi(2) - 1.0 / 12.0).sqrt();
                let plain = PointSpread { sigma_px: alike, ..PointSpread::default() };
                assert!(told(plain) <= 0.0, "{plain:?} taken for {lens:?}");
            }
        }
    }

    #[test]
    fn what_the_edges_do_not_tell_the_stated_aperture_does() {
        // No edges: nothing contradicts the file.
        let seen = PointSpread { sigma_px: 0.6, ..PointSpread::default() };
        assert!(shaped(&[], &seen, Some(1.0)).airy_px > 0.0);
        assert!(shaped(&[], &seen, None).airy_px <= 0.0);
        // Far wider than what it leaves.
        let wide = PointSpread { sigma_px: 12.0, ..seen };
        assert!(shaped(&[], &wide, Some(1.0)).airy_px <= 0.0);
    }
}
