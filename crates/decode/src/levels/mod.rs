//! Black from the masked border, where there is one that is really black; else as declared.

mod cut_off;
mod level;
mod masked;

pub use cut_off::{common_divisor, is_cut_off};

use crate::backend::Decoded;
use crate::frame::{BlackFrom, PlaneLevels};

/// Levels of each plane. Masked areas that turn out not to be black, and lines of them that are not, are taken out of
/// `decoded.masked`; where a file names none, the border outside the active area is tried.
pub(crate) fn levels(decoded: &mut Decoded) -> Vec<PlaneLevels> {
    masked::settle(decoded);
    let dark = masked::dark(decoded);
    let planes = decoded.filter.planes.len();
    (0..planes)
        .map(|plane| {
            let white_declared_dn = decoded.white.get(plane).copied().unwrap_or(65_535.0);
            let declared = decoded.black.get(plane).copied().unwrap_or(0.0);
            let measured = level::measure(decoded, &dark, plane);
            PlaneLevels {
                black_dn: measured.map_or(declared, |m| m.level_dn),
                black_from: if measured.is_some() { BlackFrom::Masked } else { BlackFrom::Declared },
                white_declared_dn,
                masked_noise_dn: measured.map(|m| m.noise_dn),
            }
        })
        .collect()
}
