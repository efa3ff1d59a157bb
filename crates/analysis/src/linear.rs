//! Small systems of linear equations, as least squares lead to.

#![allow(clippy::needless_range_loop, reason = "matrices read better by index")]

/// Solves a symmetric positive definite system, of which the lower half is read. `None` where it is singular.
pub(crate) fn solve<const N: usize>(a: [[f64; N]; N], b: [f64; N]) -> Option<[f64; N]> {
    Some(Factors::of(a)?.solve(b))
}

/// Cholesky factors of a matrix that was scaled to a unit diagonal: parameters may have very different units.
pub(crate) struct Factors<const N: usize> {
    scale: [f64; N],
    /// Lower triangle, its diagonal as reciprocals.
    lower: [[f64; N]; N],
}

impl<const N: usize> Factors<N> {
    /// `None` where the matrix is not positive definite.
    pub(crate) fn of(mut a: [[f64; N]; N]) -> Option<Self> {
        let mut scale = [0.0; N];
        for k in 0..N {
            if a[k][k] <= 0.0 || !a[k][k].is_finite() {
                return None;
            }
            scale[k] = 1.0 / a[k][k].sqrt();
        }
        for i in 0..N {
            for j in 0..=i {
                let mut sum = a[i][j] * (scale[i] * scale[j]);
                for k in 0..j {
                    sum -= a[i][k] * a[j][k];
                }
                if i == j {
                    if sum < 1e-10 {
                        return None;
                    }
                    a[i][i] = 1.0 / sum.sqrt();
                } else {
                    a[i][j] = sum * a[j][j];
                }
            }
        }
        Some(Self { scale, lower: a })
    }

    /// Solution for the right side `b`.
    pub(crate) fn solve(&self, mut b: [f64; N]) -> [f64; N] {
        let a = &self.lower;
        for i in 0..N {
            b[i] *= self.scale[i];
            for k in 0..i {
                b[i] -= a[i][k] * b[k];
            }
            b[i] *= a[i][i];
        }
        for i in (0..N).rev() {
            for k in i + 1..N {
                b[i] -= a[k][i] * b[k];
            }
            b[i] *= a[i][i];
        }
        std::array::from_fn(|i| b[i] * self.scale[i])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_worked_by_hand() {
        // 4x + 2y = 10, 2x + 3y = 9: x = 1.5, y = 2; the upper half is not read.
        let x = solve([[4.0, f64::NAN], [2.0, 3.0]], [10.0, 9.0]).unwrap_or([0.0; 2]);
        assert!((x[0] - 1.5).abs() < 1e-12 && (x[1] - 2.0).abs() < 1e-12, "{x:?}");
        // Units far apart do not hurt.
        let x = solve([[4e-20, 0.0], [2e-5, 3e10]], [10e-10, 9e5]).unwrap_or([0.0; 2]);
        assert!((x[0] * 1e-10 - 1.5).abs() < 1e-9 && (x[1] * 1e5 - 2.0).abs() < 1e-9, "{x:?}");
    }

    #[test]
    fn singular_and_unsound_systems_are_refused() {
        assert!(solve([[1.0, 1.0], [1.0, 1.0]], [1.0, 1.0]).is_none());
        assert!(solve([[0.0]], [1.0]).is_none());
        assert!(solve([[f64::NAN]], [1.0]).is_none());
    }
}
