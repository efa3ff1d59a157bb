//! A scene behind a motion and a disc, fitted to a log power spectrum.

use std::f64::consts::PI;

use multiversion::multiversion;

use super::lanes;
use super::power::{LAST, Power, TILE};
use super::psf::PointSpread;
use crate::linear::solve;

/// Lowest frequency that is read, cycles per tile.
const FIRST: f64 = 3.5;
/// ln of power over the floor at which a ring begins to count, and from which it counts in full: of some hundred tiles the mean
/// is known to a tenth.
const NOISE_ENDS: f64 = 0.04;
const SIGNAL_BEGINS: f64 = 0.2;
/// ln of power over the floor from which the scene stands out of it.
const STANDS_OUT: f64 = 1.0;
/// ln of power over the noise from which the scene is taken to stand clear of it.
const CLEAR: f64 = 2.2;
/// Deviation in ln power from which a point of the spectrum counts less: lines of the scene stand out of it.
const OFF: f64 = 0.5;
/// Exponent of the scene's power against frequency, and how far it may be from it: natural scenes fall as f^-2
/// (Field 1987, from memory).
const SCENE_SLOPE: f64 = -2.0;
const SCENE_SLOPE_SPREAD: f64 = 0.6;
/// Least Gaussian part of a real lens and pixel, px.
const LEAST_SIGMA_PX: f64 = 0.25;
/// Terms of the scene: level, slope, Gaussian blur, and how they change with direction. What falls off faster one way than the
/// other, without a null, is the scene's.
const TERMS: usize = 11;

/// Greatest radius of a disc beside a motion, share of the length: beyond it the motion does not show.
const MOST_DISC_SHARE: f64 = 0.7;

/// True for a blur of one part, and where a disc beside a motion leaves the motion to be seen.
pub(super) fn sound(psf: &PointSpread) -> bool {
    psf.motion_px <= 0.0 || psf.defocus_px <= MOST_DISC_SHARE * psf.motion_px
}

/// A blur fitted to the spectrum.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SpectrumFit {
    /// Its point spread.
    pub(crate) psf: PointSpread,
    /// What it leaves unexplained.
    pub(crate) cost: f64,
}

impl SpectrumFit {
    pub(super) fn better(self, other: Self) -> Self {
        if other.cost < self.cost { other } else { self }
    }
}

/// One place of the spectrum.
#[derive(Clone)]
pub(super) struct Point {
    /// Frequency, cycles per sensor pixel, y up.
    fx: f64,
    fy: f64,
    /// Length of it.
    f: f64,
    /// Mean ln of power over the noise.
    level: f64,
    /// What it counts for: nothing where the scene has sunk into the noise for good.
    pub(super) weight: f64,
    terms: [f64; TERMS],
    /// Squared transfer of the level's own pixel.
    aperture: f64,
    /// The scene stands out of the floor here, or further out.
    pub(super) stands_out: bool,
    /// It stands clear of the noise.
    pub(super) clear: bool,
}

/// Greatest median ln power over the noise of each ring (whole cycles per tile) or any beyond it: dark rings that a lens
/// leaves have bright ones outside. The median, because edges that all face one way light up a narrow part of each ring.
fn signal_by_ring(power: &Power) -> Vec<f64> {
    let half = (TILE / 2) as i32;
    let last = (LAST * TILE as f64) as usize + 2;
    let mut rings: Vec<Vec<f64>> = vec![Vec::new(); last];
    for v in -half..half {
        for u in 0..half {
            let cycles = f64::from(u).hypot(f64::from(v)).round() as usize;
            if power.readable(u, v) && cycles < last {
                rings[cycles].push(power.at(u, v));
            }
        }
    }
    let median = |ring: &mut Vec<f64>| {
        ring.sort_by(f64::total_cmp);
        ring.get(ring.len() / 2).copied().unwrap_or(f64::NEG_INFINITY)
    };
    let mut signal: Vec<f64> = rings.iter_mut().map(median).collect();
    for k in (0..last - 1).rev() {
        signal[k] = signal[k].max(signal[k + 1]);
    }
    signal
}

/// The places of a spectrum that are fitted.
pub(super) fn points(power: &Power) -> Vec<Point> {
    let floor = power.floor().ln();
    let signal = signal_by_ring(power);
    let half = (TILE / 2) as i32;
    let per_px = 1.0 / (TILE as f64 * power.step_px);
    let mut points = Vec::new();
    for v in -half..half {
        for u in 0..half {
            let cycles = f64::from(u).hypot(f64::from(v));
            if !power.readable(u, v) || cycles < FIRST || cycles > LAST * TILE as f64 {
                continue;
            }
            // Rows run down the picture: y up turns the sign.
            let (fx, fy) = (f64::from(u) * per_px, -f64::from(v) * per_px);
            let f = fx.hypot(fy);
            let ln = (f * 10.0 * power.step_px).ln();
            let (c, s) = (fx / f, fy / f);
            let (c2, s2) = (c * c - s * s, 2.0 * s * c);
            let (c4, s4) = (c2 * c2 - s2 * s2, 2.0 * s2 * c2);
            let gauss = -4.0 * PI * PI * f * f;
            let aperture = gauss * power.aperture(c, -s);
            points.push(Point {
                fx,
                fy,
                f,
                level: power.at(u, v),
                weight: ((signal[cycles.round() as usize] - floor - NOISE_ENDS) / (SIGNAL_BEGINS - NOISE_ENDS))
                    .clamp(0.0, 1.0),
                stands_out: signal[cycles.round() as usize] - floor > STANDS_OUT,
                clear: signal[cycles.round() as usize] > CLEAR,
                terms: [1.0, ln, gauss, c2, s2, c4, s4, c2 * ln, s2 * ln, c2 * gauss, s2 * gauss],
                aperture: aperture.exp(),
            });
        }
    }
    points
}

/// Highest frequency of the points of which that is true, cycles per sensor pixel.
pub(super) fn reach_cy_px(points: &[Point], of: impl Fn(&&Point) -> bool) -> f64 {
    points.iter().filter(of).map(|p| p.f).fold(0.0, f64::max)
}

/// Numbers that are added up at once.
const LANES: usize = 4;

/// A spectrum to which blurs are fitted: its points, each of their values in a row of its own, filled up with points of no
/// weight.
pub(super) struct Fitter {
    /// Points that count.
    count: usize,
    fx: Vec<f32>,
    fy: Vec<f32>,
    f: Vec<f32>,
    level: Vec<f32>,
    weight: Vec<f32>,
    aperture: Vec<f32>,
    /// By [`LANES`] points.
    terms: Vec<Terms>,
    /// Level, in powers of the noise, that fills the nulls.
    floor: f32,
}

/// The terms of [`LANES`] points, two terms side by side: these fill a wider vector, and are summed up in the same order.
type Terms = [[f32; 2 * LANES]; TERMS.div_ceil(2)];

/// Normal equations of the scene's terms.
type Equations = ([[f64; TERMS]; TERMS], [f64; TERMS]);

/// What a scene of level `ln_scene` behind a blur gives at a point: weight of the point and level of the scene alone there,
/// by what is seen now; and how far that is off.
struct Pull {
    weight: f32,
    level: f32,
    off: f32,
}

#[inline(always)]
fn pull(ln_scene: f32, blur: f32, floor: f32, level: f32) -> Pull {
    let signal = lanes::exp(ln_scene) * blur;
    let seen = signal + floor;
    let ln_seen = lanes::ln(seen);
    let known = (signal / seen).max(0.05);
    let off = (level - ln_seen) * (1.0 / OFF as f32);
    // Of the scene alone: the logarithm of blur and floor / scene is taken off.
    Pull { weight: known * known, level: level - (ln_seen - ln_scene), off: off * off }
}

/// Takes off what a motion by so many pixels across and up takes.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn smear(blur: &mut [f32], (fx, fy): (&[f32], &[f32]), (across, up): (f32, f32)) {
    for ((blur, fx), fy) in blur.iter_mut().zip(fx).zip(fy) {
        *blur *= lanes::sinc_squared(across * fx + up * fy);
    }
}

/// Takes off what a disc of that circumference takes.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn spread(blur: &mut [f32], f: &[f32], around: f32) {
    for (blur, f) in blur.iter_mut().zip(f) {
        *blur *= lanes::disc_squared(around * f);
    }
}

/// The pull at each point (scene, blur, level, weight): weight and level for the next round, and what it costs.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
fn pulls([ln_scene, blur, level, own]: [&[f32]; 4], floor: f32, [weights, levels, costs]: [&mut [f32]; 3]) {
    let points = ln_scene.iter().zip(blur).zip(level).zip(own);
    for ((((ln_scene, blur), level), own), ((weight, to), cost)) in
        points.zip(weights.iter_mut().zip(levels).zip(costs))
    {
        let pull = pull(ln_scene.clamp(-5.0, 40.0), *blur, floor, *level);
        let trust = 1.0 / (1.0 + pull.off);
        *weight = own * trust * pull.weight;
        *to = pull.level;
        *cost = own * pull.off * trust;
    }
}

/// Row `ROW` of the normal equations.
#[inline(always)]
fn row<const ROW: usize>(terms: &[Terms], weights: &[[f32; LANES]], levels: &[[f32; LANES]], to: &mut Equations) {
    let mut sums = Terms::default();
    let mut right = [0.0_f32; LANES];
    for ((terms, weight), level) in terms.iter().zip(weights).zip(levels) {
        let own = &terms[ROW / 2][ROW % 2 * LANES..][..LANES];
        let weighted: [f32; LANES] = std::array::from_fn(|l| own[l] * weight[l]);
        for (sums, other) in sums[..=ROW / 2].iter_mut().zip(&terms[..=ROW / 2]) {
            for l in 0..2 * LANES {
                sums[l] += weighted[l % LANES] * other[l];
            }
        }
        for l in 0..LANES {
            right[l] += weighted[l] * level[l];
        }
    }
    let sum = |lanes: &[f32]| lanes.iter().map(|&l| f64::from(l)).sum::<f64>();
    for k in 0..=ROW {
        to.0[ROW][k] = sum(&sums[k / 2][k % 2 * LANES..][..LANES]);
    }
    to.1[ROW] = sum(&right);
}

/// The normal equations: the lower half of the matrix.
#[multiversion(targets("x86_64+avx2"))]
fn equations(terms: &[Terms], weights: &[f32], levels: &[f32]) -> Equations {
    let mut all = ([[0.0; TERMS]; TERMS], [0.0; TERMS]);
    let (weights, levels) = (weights.as_chunks::<LANES>().0, levels.as_chunks::<LANES>().0);
    row::<0>(terms, weights, levels, &mut all);
    row::<1>(terms, weights, levels, &mut all);
    row::<2>(terms, weights, levels, &mut all);
    row::<3>(terms, weights, levels, &mut all);
    row::<4>(terms, weights, levels, &mut all);
    row::<5>(terms, weights, levels, &mut all);
    row::<6>(terms, weights, levels, &mut all);
    row::<7>(terms, weights, levels, &mut all);
    row::<8>(terms, weights, levels, &mut all);
    row::<9>(terms, weights, levels, &mut all);
    row::<10>(terms, weights, levels, &mut all);
    all
}

/// ln of the scene's power at each point, by its terms.
#[multiversion(targets("x86_64+avx2"))]
fn scene(terms: &[Terms], found: &[f32; TERMS], to: &mut [f32]) {
    for (ln, terms) in to.as_chunks_mut::<LANES>().0.iter_mut().zip(terms) {
        *ln = [0.0; LANES];
        for k in 0..TERMS {
            for l in 0..LANES {
                ln[l] += found[k] * terms[k / 2][k % 2 * LANES + l];
            }
        }
    }
}

impl Fitter {
    /// For these points.
    pub(super) fn new<'a>(points: impl Iterator<Item = &'a Point> + Clone, floor: f64) -> Self {
        let count = points.clone().count();
        let fill = |value: &dyn Fn(&Point) -> f64, beyond: f32| {
            let mut all: Vec<f32> = points.clone().map(|p| value(p) as f32).collect();
            all.resize(count.next_multiple_of(LANES), beyond);
            all
        };
        let columns: [Vec<f32>; TERMS] = std::array::from_fn(|k| fill(&|p| p.terms[k], 0.0));
        let terms = (0..columns[0].len() / LANES)
            .map(|c| {
                let term = |k: usize, l: usize| columns.get(k).map_or(0.0, |column| column[c * LANES + l]);
                std::array::from_fn(|k| std::array::from_fn(|l| term(2 * k + l / LANES, l % LANES)))
            })
            .collect();
        Self {
            count,
            fx: fill(&|p| p.fx, 0.0),
            fy: fill(&|p| p.fy, 0.0),
            f: fill(&|p| p.f, 0.0),
            level: fill(&|p| p.level, 0.0),
            weight: fill(&|p| p.weight, 0.0),
            aperture: fill(&|p| p.aperture, 1.0),
            terms,
            floor: floor as f32,
        }
    }

    /// Power that the blur leaves at each point.
    fn blur(&self, psf: &PointSpread) -> Vec<f32> {
        let (s, c) = psf.motion_deg.to_radians().sin_cos();
        let mut blur = self.aperture.clone();
        if psf.motion_px > 0.0 {
            let (across, up) = ((psf.motion_px * c) as f32, (psf.motion_px * s) as f32);
            smear(&mut blur, (&self.fx, &self.fy), (across, up));
        }
        if psf.defocus_px > 0.0 {
            let around = (2.0 * PI * psf.defocus_px) as f32;
            spread(&mut blur, &self.f, around);
        }
        blur
    }

    /// Fits the scene behind the motion and disc of `psf`; its Gaussian is a term of the scene and is found.
    pub(super) fn fit(&self, psf: &PointSpread) -> SpectrumFit {
        let blur = self.blur(psf);
        let n = blur.len();
        let (mut weights, mut levels, mut costs) = (vec![0.0_f32; n], vec![0.0_f32; n], vec![0.0_f32; n]);
        let first = 1e3_f32.ln();
        for ((((blur, level), own), weight), to) in
            blur.iter().zip(&self.level).zip(&self.weight).zip(&mut weights).zip(&mut levels)
        {
            let pull = pull(first, *blur, self.floor, *level);
            (*weight, *to) = (own * pull.weight, pull.level);
        }
        let mut best = SpectrumFit { psf: *psf, cost: f64::INFINITY };
        let mut ln_scene = vec![0.0_f32; n];
        for _ in 0..3 {
            let (mut ata, mut atb) = equations(&self.terms, &weights, &levels);
            // What scenes are like, as one more measurement.
            let prior = 0.02 * self.count as f64 / (SCENE_SLOPE_SPREAD * SCENE_SLOPE_SPREAD);
            ata[1][1] += prior;
            atb[1] += prior * SCENE_SLOPE;
            let Some(mut solved) = solve(ata, atb) else { break };
            if solved[2] < LEAST_SIGMA_PX * LEAST_SIGMA_PX {
                // A blur cannot sharpen: the Gaussian is held at its least.
                ata[2][2] *= 1e9;
                atb[2] = ata[2][2] * LEAST_SIGMA_PX * LEAST_SIGMA_PX;
                let Some(held) = solve(ata, atb) else { break };
                solved = held;
            }
            scene(&self.terms, &solved.map(|f| f as f32), &mut ln_scene);
            let points = [&ln_scene[..], &blur, &self.level, &self.weight];
            pulls(points, self.floor, [&mut weights, &mut levels, &mut costs]);
            let cost = OFF * OFF * costs.iter().map(|&c| f64::from(c)).sum::<f64>();
            if cost < best.cost {
                best = SpectrumFit { psf: PointSpread { sigma_px: solved[2].max(0.0).sqrt(), ..*psf }, cost };
            }
        }
        best
    }
}
