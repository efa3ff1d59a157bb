//! How much each part of the lines counts: one over what its values scatter more than noise does.
//!
//! The redescending weight keeps edges out, but not the faint ends of blurred ones and not fine texture: where a part of the
//! frame holds those, its values scatter more than noise alone would make them. That scatter is seen in how the parts of a
//! line differ, which its offset does not change. Counted by it, a sky says what it knows though leaves stand below.
//! Source: inverse-variance weights are textbook; the rest is our own derivation.

use super::lines_shown::{PARTS, Shown};

/// Squared weighted difference over response, of noise alone: six for the second difference, times the mean of the
/// squared redescending weight times the square (0.5345), over the mean of its derivative (0.7146), of a normal distribution.
const OF_NOISE: f64 = 6.0 * 0.5345 / 0.7146;

/// Lines on either side from which a part's scatter is taken.
const AROUND: usize = 32;

/// Most rounds; each part is held against the mean of all, which is known better with each; and the share by which a round
/// that ends them changes the weights.
const ROUNDS: usize = 6;
const SETTLED: f64 = 0.1;

/// Divides all that a part shows by how many times its values scatter more than noise.
pub(super) fn weigh(lines: &mut [[Shown; PARTS]]) {
    let mut times = vec![[1.0; PARTS]; lines.len()];
    for _ in 0..ROUNDS {
        let scatter: Vec<[[f64; 2]; PARTS]> =
            lines.iter().zip(&times).map(|(line, times)| scatter(line, times)).collect();
        let next = around(&scatter, AROUND);
        let settled =
            next.iter().flatten().zip(times.iter().flatten()).all(|(next, last)| (next / last - 1.0).abs() < SETTLED);
        times = next;
        if settled {
            break;
        }
    }
    for (line, times) in lines.iter_mut().zip(&times) {
        line.iter_mut().zip(times).for_each(|(part, times)| part.scale(1.0 / times));
    }
}

/// Of each part of a line: squared difference to the mean of all, less what chance takes off by the part's own share in that
/// mean, in units of noise; and its response.
fn scatter(line: &[Shown; PARTS], times: &[f64; PARTS]) -> [[f64; 2]; PARTS] {
    let sum = |of: &dyn Fn(&Shown) -> f64| line.iter().zip(times).map(|(s, t)| of(s) / t).sum::<f64>();
    let response = sum(&|s| s.own.response);
    if response <= 0.0 {
        return [[0.0; 2]; PARTS];
    }
    let mean = sum(&|s| s.own.value) / response;
    line.each_ref().map(|s| {
        let own = s.own.response;
        [(s.own.value - own * mean).powi(2) / OF_NOISE + own.powi(2) / response, own]
    })
}

/// One value over the other, each a sum over the lines around; never less than noise makes it.
fn around(of: &[[[f64; 2]; PARTS]], lines: usize) -> Vec<[f64; PARTS]> {
    let mut sum = [[0.0; 2]; PARTS];
    let add = |sum: &mut [[f64; 2]; PARTS], of: &[[f64; 2]; PARTS], sign: f64| {
        sum.iter_mut().flatten().zip(of.iter().flatten()).for_each(|(to, v)| *to += sign * v);
    };
    of.iter().take(lines).for_each(|of| add(&mut sum, of, 1.0));
    let mut out = Vec::with_capacity(of.len());
    for l in 0..of.len() {
        if let Some(next) = of.get(l + lines) {
            add(&mut sum, next, 1.0);
        }
        if let Some(gone) = l.checked_sub(lines + 1) {
            add(&mut sum, &of[gone], -1.0);
        }
        out.push(sum.map(|[value, response]| if response > 0.0 { (value / response).max(1.0) } else { 1.0 }));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::line_offsets::simulated::{D, LINES, lines, random};
    use super::*;

    #[test]
    fn parts_count_by_how_little_they_scatter_whatever_the_lines_share() {
        for shared in [0.0, 5.0] {
            let mut lines = lines(&random(3, shared), 0, 0.0, D);
            // Half of the parts scatter ten times as much.
            let noise = lines_of_noise();
            for (line, noise) in lines.iter_mut().zip(&noise).skip(D).take(LINES - 2 * D) {
                line[4..]
                    .iter_mut()
                    .zip(&noise[4..])
                    .for_each(|(part, noise)| part.own.value += 10.0 * noise.own.value);
            }
            weigh(&mut lines);
            let response = |parts: std::ops::Range<usize>| -> f64 {
                lines.iter().flat_map(|line| &line[parts.clone()]).map(|s| s.own.response).sum()
            };
            let ratio = response(0..4) / response(4..8);
            // Their variance is 101 times as large.
            assert!((ratio / 101.0 - 1.0).abs() < 0.15, "{shared}: {ratio}");
        }
    }

    fn lines_of_noise() -> Vec<[Shown; PARTS]> {
        let mut lines = lines(&random(4, 0.0), 0, 0.0, D);
        lines.rotate_left(7);
        lines
    }
}
