//! How much each part of the lines counts: one over what its values scatter more than noise does.
//!
//! The redescending weight keeps edges out, but not the faint ends of blurred ones and not fine texture: where a part of the
//! frame holds those, its values scatter more than noise alone would make them. That scatter is seen in how the parts of a
//! line differ, which its offset does not change. Counted by it, a sky says what it knows though leaves stand below.
//! Source: inverse-variance weights are textbook; the rest is our own derivation.

use super::lines_shown::{PARTS, Shown};

/// Squared weighted difference over response, of noise alone: six for the second difference, times the mean of the
/// squared redescending weight times the square (0.5345), over the mean of its derivative (0.7146), of a normal distribution.
pub(super) const OF_NOISE: f64 = 6.0 * 0.5345 / 0.7146;

/// Lines on either side from which a part's scatter is taken.
const AROUND: usize = 32;

/// Most rounds; each part is held against the mean of all, which is known better with each; and the share by which a round
/// that ends them changes the weights.
const ROUNDS: usize = 6;
const SETTLED: f64 = 0.1;

/// Divides all that a part shows by how many times its values scatter more than noise.
pub(super) fn weigh(lines: &mut [[Shown; PARTS]]) {
    // What the rounds read, close together.
    let own: Vec<Own> = lines.iter().map(Own::of).collect();
    // One over how many times.
    let mut counts = vec![[1.0; PARTS]; lines.len()];
    for _ in 0..ROUNDS {
        let scatter: Vec<[[f64; PARTS]; 2]> =
            own.iter().zip(&counts).map(|(line, counts)| line.scatter(counts)).collect();
        let next = around(&scatter, AROUND);
        let settled = next
            .iter()
            .flatten()
            .zip(counts.iter().flatten())
            .fold(true, |all, (next, last)| all & ((next - last).abs() < SETTLED * next));
        counts = next;
        if settled {
            break;
        }
    }
    for (line, counts) in lines.iter_mut().zip(&counts) {
        line.iter_mut().zip(counts).for_each(|(part, count)| part.scale(*count));
    }
}

/// What the parts of a line show by themselves.
struct Own {
    value: [f64; PARTS],
    response: [f64; PARTS],
}

impl Own {
    fn of(line: &[Shown; PARTS]) -> Self {
        Self { value: line.each_ref().map(|s| s.own.value), response: line.each_ref().map(|s| s.own.response) }
    }

    /// Of each part: squared difference to the mean of all, less what chance takes off by the part's own share in that mean,
    /// in units of noise; and its response.
    fn scatter(&self, counts: &[f64; PARTS]) -> [[f64; PARTS]; 2] {
        let sum = |of: &[f64; PARTS]| of.iter().zip(counts).map(|(v, count)| v * count).sum::<f64>();
        let response = sum(&self.response);
        if response <= 0.0 {
            return [[0.0; PARTS]; 2];
        }
        let (mean, share) = (sum(&self.value) / response, 1.0 / response);
        let square = |k: usize| {
            let own = self.response[k];
            (self.value[k] - own * mean).powi(2) * (1.0 / OF_NOISE) + own * own * share
        };
        [std::array::from_fn(square), self.response]
    }
}

/// The second value over the first, each a sum over the lines around; never more than noise makes it.
fn around(of: &[[[f64; PARTS]; 2]], lines: usize) -> Vec<[f64; PARTS]> {
    let mut sum = [[0.0; PARTS]; 2];
    let add = |sum: &mut [[f64; PARTS]; 2], of: &[[f64; PARTS]; 2], sign: f64| {
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
        let [value, response] = &sum;
        out.push(std::array::from_fn(|k| {
            if value[k] > response[k] && response[k] > 0.0 { response[k] / value[k] } else { 1.0 }
        }));
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
