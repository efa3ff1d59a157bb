//! Every key of a brief, in one table: used by reading, writing, errors and `explain`.

use super::{Handling, Limit, Limits};

/// Which side of a limit is worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Worse {
    /// Larger values.
    Above,
    /// Smaller values.
    Below,
}

/// A limit with a borderline and a fails value.
pub struct LimitKey {
    /// Key in `[limits]`.
    pub key: &'static str,
    /// Unit of both values.
    pub unit: &'static str,
    /// Which side is worse.
    pub worse: Worse,
    /// Least and largest value that makes sense.
    pub range: (f64, f64),
    /// What it limits, one line.
    pub about: &'static str,
    /// Reads it.
    pub get: fn(&Limits) -> Limit,
    /// Writes it.
    pub set: fn(&mut Limits, Limit),
}

/// A single number.
pub struct NumberKey<T> {
    /// Key.
    pub key: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Least and largest value that makes sense.
    pub range: (f64, f64),
    /// What it says, one line.
    pub about: &'static str,
    /// Reads it.
    pub get: fn(&T) -> f64,
    /// Writes it.
    pub set: fn(&mut T, f64),
}

/// Limits with two values.
pub const LIMITS: [LimitKey; 7] = [
    LimitKey {
        key: "blown_area_pct",
        unit: "%",
        worse: Worse::Above,
        range: (0.0, 100.0),
        about: "blown area without specular spots, % of the picture",
        get: |l| l.blown_area_pct,
        set: |l, v| l.blown_area_pct = v,
    },
    LimitKey {
        key: "blown_patch_cm2",
        unit: "cm2",
        worse: Worse::Above,
        range: (0.0, 1e6),
        about: "largest single blown patch on the paper, cm2",
        get: |l| l.blown_patch_cm2,
        set: |l, v| l.blown_patch_cm2 = v,
    },
    LimitKey {
        key: "blocked_area_pct",
        unit: "%",
        worse: Worse::Above,
        range: (0.0, 100.0),
        about: "samples without shadow detail, % of the picture",
        get: |l| l.blocked_area_pct,
        set: |l, v| l.blocked_area_pct = v,
    },
    LimitKey {
        key: "snr_midtone",
        unit: "ratio",
        worse: Worse::Below,
        range: (0.1, 10_000.0),
        about: "mid-tone signal-to-noise on the paper, averaged over what the eye resolves",
        get: |l| l.snr_midtone,
        set: |l, v| l.snr_midtone = v,
    },
    LimitKey {
        key: "banding_to_noise",
        unit: "ratio",
        worse: Worse::Above,
        range: (0.001, 100.0),
        about: "banding over noise on the paper, in the frame's darkest tones",
        get: |l| l.banding_to_noise,
        set: |l, v| l.banding_to_noise = v,
    },
    LimitKey {
        key: "rise_eye_limits",
        unit: "eye limits",
        worse: Worse::Above,
        range: (0.1, 100.0),
        about: "edge rise on the paper, in units of what the eye resolves (one minute of arc)",
        get: |l| l.rise_eye_limits,
        set: |l, v| l.rise_eye_limits = v,
    },
    LimitKey {
        key: "motion_eye_limits",
        unit: "eye limits",
        worse: Worse::Above,
        range: (0.1, 100.0),
        about: "motion on the paper, in units of what the eye resolves",
        get: |l| l.motion_eye_limits,
        set: |l, v| l.motion_eye_limits = v,
    },
];

/// Single numbers in `[limits]`.
pub const LIMIT_NUMBERS: [NumberKey<Limits>; 2] = [
    NumberKey {
        key: "specular_spot_mm",
        unit: "mm",
        range: (0.0, 1000.0),
        about: "blown spots up to this diameter on the paper are specular highlights and do not count",
        get: |l| l.specular_spot_mm,
        set: |l, v| l.specular_spot_mm = v,
    },
    NumberKey {
        key: "shadow_snr",
        unit: "ratio",
        range: (0.1, 1000.0),
        about: "signal-to-noise of the darkest usable tone on the paper (range.usable_ev)",
        get: |l| l.shadow_snr,
        set: |l, v| l.shadow_snr = v,
    },
];

/// Numbers in `[handling]`.
pub const HANDLING: [NumberKey<Handling>; 4] = [
    NumberKey {
        key: "shutter_rule",
        unit: "",
        range: (0.1, 100.0),
        about: "k of the slowest hand-held shutter, 1/(k x 35 mm equivalent focal length)",
        get: |h| h.shutter_rule,
        set: |h, v| h.shutter_rule = v,
    },
    NumberKey {
        key: "vibration_fastest_s",
        unit: "s",
        range: (1e-4, 60.0),
        about: "fastest shutter of the band in which mirror and shutter shake a camera on a tripod",
        get: |h| h.vibration_fastest_s,
        set: |h, v| h.vibration_fastest_s = v,
    },
    NumberKey {
        key: "vibration_slowest_s",
        unit: "s",
        range: (1e-4, 60.0),
        about: "slowest shutter of that band",
        get: |h| h.vibration_slowest_s,
        set: |h, v| h.vibration_slowest_s = v,
    },
    NumberKey {
        key: "vibration_focal35_mm",
        unit: "mm",
        range: (1.0, 10_000.0),
        about: "35 mm equivalent focal length from which that band counts",
        get: |h| h.vibration_focal35_mm,
        set: |h, v| h.vibration_focal35_mm = v,
    },
];

/// A key that is no plain number within a range, or a table.
pub struct OtherKey {
    /// Key.
    pub key: &'static str,
    /// What it says, one line.
    pub about: &'static str,
}

const fn other(key: &'static str, about: &'static str) -> OtherKey {
    OtherKey { key, about }
}

/// Keys at the top of a brief.
pub const TOP: [OtherKey; 5] = [
    other("name", "how the brief is called in scorecards and on pages; default: the size"),
    other("needs", "what must be measured, or the frame does not pass"),
    other("output", "table: what the pictures are for: kind, size, distance and resolution"),
    other("limits", "table: the values from which a finding is borderline, and from which it fails"),
    other("handling", "table: when a shutter is slow for the hand, and when mirror and shutter shake a tripod"),
];

/// Keys of `[output]`.
pub const OUTPUT: [OtherKey; 6] = [
    other("kind", "print or screen; default: what the size's unit says"),
    other("size", "the picture area: in, ft, cm, mm, m, or A0 to A6; px for a screen"),
    other("distance", "from where it is seen; diagonal: from as far as its diagonal is long"),
    other("ppi_wanted", "picture pixels per inch of the output; below: borderline"),
    other("ppi_least", "picture pixels per inch of the output; below: fails"),
    other("screen_ppi", "the screen's own pixels per inch"),
];

/// Keys at the top.
pub fn top() -> impl Iterator<Item = &'static str> + Clone {
    TOP.iter().map(|k| k.key)
}

/// Keys of `[output]`.
pub fn output() -> impl Iterator<Item = &'static str> + Clone {
    OUTPUT.iter().map(|k| k.key)
}

/// Every key with what it says, one line.
pub fn all() -> impl Iterator<Item = (&'static str, &'static str)> {
    let limits = LIMITS.iter().map(|k| (k.key, k.about)).chain(LIMIT_NUMBERS.iter().map(|k| (k.key, k.about)));
    let handling = HANDLING.iter().map(|k| (k.key, k.about));
    TOP.iter().chain(&OUTPUT).map(|k| (k.key, k.about)).chain(limits).chain(handling)
}

/// What a key says, one line.
#[must_use]
pub fn about(key: &str) -> Option<&'static str> {
    all().find(|(known, _)| *known == key).map(|(_, about)| about)
}

/// Keys of `[limits]`.
pub fn limits() -> impl Iterator<Item = &'static str> {
    LIMITS.iter().map(|k| k.key).chain(LIMIT_NUMBERS.iter().map(|k| k.key))
}

/// Keys of `[handling]`.
pub fn handling() -> impl Iterator<Item = &'static str> {
    HANDLING.iter().map(|k| k.key)
}

/// The nearest of the words, where one is near enough to be meant.
#[must_use]
pub fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let plain = |w: &str| w.to_lowercase().replace(['-', ' ', '.'], "_");
    let word = plain(word);
    known
        .map(|k| (strsim::normalized_damerau_levenshtein(&word, &plain(k)).max(part(&word, &plain(k))), k))
        .filter(|(likeness, _)| *likeness >= 0.55)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// Likeness of a word to a key that holds it, or that it holds.
fn part(word: &str, key: &str) -> f64 {
    let much_of_it = word.contains(key) && 2 * key.len() >= word.len();
    if word.len() >= 3 && (key.contains(word) || much_of_it) { 0.6 } else { 0.0 }
}
