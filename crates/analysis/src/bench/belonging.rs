//! Which frames of a test series belong together: one camera, ISO, size and filter array; the same levels; one exposure.

use rawassay_decode::{FilterArray, Frame, Shot};

/// What all frames of a set have in common.
#[derive(Clone, PartialEq)]
pub(super) struct Identity {
    camera: (Option<String>, Option<String>, Option<String>),
    iso: Option<f64>,
    size: (usize, usize),
    pub(super) filter: FilterArray,
}

impl Identity {
    pub(super) fn of(frame: &Frame) -> Self {
        let shot = &frame.shot;
        Self {
            camera: (shot.make.clone(), shot.model.clone(), shot.serial.clone()),
            iso: shot.iso,
            size: (frame.width, frame.height),
            filter: frame.filter.clone(),
        }
    }
}

/// Why a frame does not belong to the set, as words between its name and that of the first. `None` where it does.
pub(super) fn mismatch(first: &Identity, other: &Identity) -> Option<&'static str> {
    if first.camera != other.camera {
        Some("is from another camera than")
    } else if first.iso != other.iso {
        Some("has another ISO than")
    } else if first.size != other.size {
        Some("has another size than")
    } else if first.filter != other.filter {
        Some("has another filter array than")
    } else {
        None
    }
}

/// Levels belong together where white is the same and black, which may be measured, differs by less than 1 % of the range.
pub(super) fn other_levels(black_dn: f64, white_dn: f64, (first_black, first_white): (f64, f64)) -> bool {
    let range = (first_white - first_black).max(1.0);
    (white_dn - first_white).abs() > 0.5 || (black_dn - first_black).abs() > 0.01 * range
}

/// Frames of one exposure time and f-number make a pair.
pub(super) fn same_exposure(a: &Shot, b: &Shot) -> bool {
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-3 * a.abs().max(b.abs()),
        (a, b) => a == b,
    };
    near(a.shutter_s, b.shutter_s) && near(a.f_number, b.f_number)
}
