//! Sums for the least-squares fit of a blurred step: nearly all the time of the sharpness measure goes in here, so the
//! samples are taken eight at a time, in lanes that the compiler turns into vector instructions. The lanes are added up
//! in a fixed order: the result is the same on every processor.

use multiversion::multiversion;

use super::erf::Normal;

/// Parameters of the step: low, step, shift, slope, bend, ln sigma.
pub(super) const PARAMETERS: usize = 6;

pub(super) type Matrix = [[f64; PARAMETERS]; PARAMETERS];

/// Samples taken at a time.
const LANES: usize = 8;

type Lanes = [f32; LANES];

/// A blurred step: `low + step * Phi((t - shift - slope u - bend u^2) / sigma)`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    pub(super) low: f32,
    pub(super) step: f32,
    pub(super) shift: f32,
    pub(super) slope: f32,
    pub(super) bend: f32,
    pub(super) sigma: f32,
}

/// Products of the derivatives c (to step), d (to shift), s (to ln sigma) and of the residual r, with powers of u.
/// The derivative to low is 1, those to slope and bend are d u and d u^2.
#[derive(Default)]
struct Sums {
    one: [Lanes; 5],
    c: [Lanes; 5],
    dd: [Lanes; 5],
    ds: [Lanes; 3],
    ss: Lanes,
    r: [Lanes; 6],
    rr: Lanes,
}

impl Sums {
    #[inline(always)]
    fn add(&mut self, c: &Lanes, d: &Lanes, s: &Lanes, r: &Lanes, u: &Lanes) {
        let du = times(d, u);
        let duu = times(&du, u);
        for (to, value) in self.one.iter_mut().zip([c, d, &du, &duu, s]) {
            plus(to, value);
        }
        for (to, value) in self.c.iter_mut().zip([c, d, &du, &duu, s]) {
            plus_product(to, c, value);
        }
        for (to, (a, b)) in self.dd.iter_mut().zip([(d, d), (d, &du), (&du, &du), (&du, &duu), (&duu, &duu)]) {
            plus_product(to, a, b);
        }
        for (to, value) in self.ds.iter_mut().zip([d, &du, &duu]) {
            plus_product(to, s, value);
        }
        plus_product(&mut self.ss, s, s);
        plus(&mut self.r[0], r);
        for (to, value) in self.r[1..].iter_mut().zip([c, d, &du, &duu, s]) {
            plus_product(to, r, value);
        }
        plus_product(&mut self.rr, r, r);
    }
}

#[inline(always)]
fn times(a: &Lanes, b: &Lanes) -> Lanes {
    std::array::from_fn(|i| a[i] * b[i])
}

#[inline(always)]
fn plus(to: &mut Lanes, value: &Lanes) {
    for i in 0..LANES {
        to[i] += value[i];
    }
}

#[inline(always)]
fn plus_product(to: &mut Lanes, a: &Lanes, b: &Lanes) {
    for i in 0..LANES {
        to[i] += a[i] * b[i];
    }
}

fn total(lanes: &Lanes) -> f64 {
    lanes.iter().map(|&v| f64::from(v)).sum()
}

/// Normal matrix, right-hand side and sum of squared residuals of the samples (across, along, level) about a step.
#[multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub(super) fn normal_equations(
    columns: (&[f32], &[f32], &[f32]),
    normal: &Normal,
    step: &Step,
) -> (Matrix, [f64; PARAMETERS], f64) {
    plain_equations(columns, normal, step)
}

/// Adds samples: across, along, level and weight.
#[inline(always)]
fn add_samples(sums: &mut Sums, normal: &Normal, step: &Step, [t, u, v, weight]: [&Lanes; 4]) {
    let inverse = 1.0 / step.sigma;
    let z: Lanes = std::array::from_fn(|i| (t[i] - step.shift - u[i] * (step.slope + step.bend * u[i])) * inverse);
    let (c, density) = normal.at_each(&z);
    let r: Lanes = std::array::from_fn(|i| (v[i] - step.low - step.step * c[i]) * weight[i]);
    let c = times(&c, weight);
    let d: Lanes = std::array::from_fn(|i| -step.step * density[i] * inverse * weight[i]);
    let s: Lanes = std::array::from_fn(|i| -step.step * density[i] * z[i] * weight[i]);
    sums.add(&c, &d, &s, &r, u);
}

/// A function of its own, since closures of the other one would not be inlined.
#[inline(always)]
fn plain_equations(
    (t, u, v): (&[f32], &[f32], &[f32]),
    normal: &Normal,
    step: &Step,
) -> (Matrix, [f64; PARAMETERS], f64) {
    let mut sums = Sums::default();
    let ((t_whole, t_rest), (u_whole, u_rest)) = (t.as_chunks::<LANES>(), u.as_chunks::<LANES>());
    let (v_whole, v_rest) = v.as_chunks::<LANES>();
    for ((t, u), v) in t_whole.iter().zip(u_whole).zip(v_whole) {
        add_samples(&mut sums, normal, step, [t, u, v, &[1.0; LANES]]);
    }
    if !t_rest.is_empty() {
        let fill = |rest: &[f32]| -> Lanes { std::array::from_fn(|i| rest.get(i).copied().unwrap_or(0.0)) };
        let weight = std::array::from_fn(|i| if i < t_rest.len() { 1.0 } else { 0.0 });
        add_samples(&mut sums, normal, step, [&fill(t_rest), &fill(u_rest), &fill(v_rest), &weight]);
    }
    let [one_c, one_d, one_du, one_duu, one_s] = sums.one.each_ref().map(total);
    let [cc, cd, cdu, cduu, cs] = sums.c.each_ref().map(total);
    let [dd, ddu, dduu, dduuu, dduuuu] = sums.dd.each_ref().map(total);
    let [ds, dus, duus] = sums.ds.each_ref().map(total);
    let matrix = [
        [t.len() as f64, one_c, one_d, one_du, one_duu, one_s],
        [one_c, cc, cd, cdu, cduu, cs],
        [one_d, cd, dd, ddu, dduu, ds],
        [one_du, cdu, ddu, dduu, dduuu, dus],
        [one_duu, cduu, dduu, dduuu, dduuuu, duus],
        [one_s, cs, ds, dus, duus, total(&sums.ss)],
    ];
    (matrix, sums.r.each_ref().map(total), total(&sums.rr))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lanes_add_up_to_the_plain_sums() {
        let normal = Normal::new();
        let step = Step { low: 120.0, step: 900.0, shift: 0.3, slope: 0.1, bend: -0.02, sigma: 0.9 };
        for n in [1_usize, 7, 8, 9, 61] {
            let t: Vec<f32> = (0..n).map(|i| (i as f32 * 0.73) % 9.0 - 4.5).collect();
            let u: Vec<f32> = (0..n).map(|i| (i as f32 * 1.31) % 11.0 - 5.5).collect();
            let v: Vec<f32> = (0..n).map(|i| 100.0 + (i as f32 * 97.0) % 950.0).collect();
            let (matrix, right, cost) = normal_equations((&t, &u, &v), &normal, &step);
            let mut plain = ([[0.0; PARAMETERS]; PARAMETERS], [0.0; PARAMETERS], 0.0);
            for ((&t, &u), &v) in t.iter().zip(&u).zip(&v) {
                let z = (t - step.shift - u * (step.slope + step.bend * u)) / step.sigma;
                let (c, density) = normal.at(z);
                let (u, c, r) = (f64::from(u), f64::from(c), f64::from(v - step.low - step.step * c));
                let d = f64::from(-step.step * density / step.sigma);
                let j = [1.0, c, d, d * u, d * u * u, f64::from(-step.step * density * z)];
                for a in 0..PARAMETERS {
                    for b in 0..PARAMETERS {
                        plain.0[a][b] += j[a] * j[b];
                    }
                    plain.1[a] += j[a] * r;
                }
                plain.2 += r * r;
            }
            // The table of single precision sets the scale of what may differ.
            let near = |found: f64, exact: f64, size: f64| (found - exact).abs() <= 2e-4 * size;
            for a in 0..PARAMETERS {
                for b in 0..PARAMETERS {
                    let size = (plain.0[a][a] * plain.0[b][b]).sqrt();
                    assert!(near(matrix[a][b], plain.0[a][b], size), "{n} samples, {a} {b}");
                }
                assert!(near(right[a], plain.1[a], (plain.0[a][a] * plain.2).sqrt()), "{n} samples, {a}");
            }
            assert!(near(cost, plain.2, plain.2));
        }
    }
}
