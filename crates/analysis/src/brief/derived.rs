//! What follows from size and distance where a brief's author does not state it: resolution, and the limits that are
//! lengths on the paper rather than angles at the eye.

use super::{Brief, Limit, MM_PER_INCH, Output, OutputKind};
use crate::optics::MINUTES_PER_RADIAN;

/// Resolutions that printers and labs use, ppi; what the eye resolves is held within them. Common practice, no source.
pub const USUAL_PPI: (f64, f64) = (100.0, 360.0);

/// What the eye resolves from a distance, one minute of arc, ppi.
#[must_use]
pub fn eye_ppi(distance_mm: f64) -> f64 {
    MINUTES_PER_RADIAN * MM_PER_INCH / distance_mm
}

/// The resolution that is wanted where none is stated: what the eye resolves, within what printers and labs use; a
/// screen's own.
#[must_use]
pub fn ppi_wanted(output: &Output) -> f64 {
    output.screen.map_or_else(|| eye_ppi(output.distance_mm).round().clamp(USUAL_PPI.0, USUAL_PPI.1), |s| s.ppi)
}

/// The least resolution where none is stated: two thirds of that wanted.
#[must_use]
pub fn ppi_least(wanted: f64) -> f64 {
    (wanted * 2.0 / 3.0 * 10.0).round() / 10.0
}

/// The single blown patch that is borderline, and the one that fails, cm2: 2 and 10 at 45 cm, as large at the eye from
/// elsewhere (the square of the distance), in steps of 1, 2 and 5.
#[must_use]
pub fn blown_patch_cm2(output: &Output) -> Limit {
    let area = match output.kind {
        OutputKind::Print => 2.0 * (output.distance_mm / 450.0).powi(2),
        OutputKind::Screen => 2.0,
    };
    let power = 10f64.powf(area.log10().floor());
    // Parted at the geometric means of 1, 2, 5 and 10.
    let step = match area / power {
        v if v < 2f64.sqrt() => 1.0,
        v if v < 10f64.sqrt() => 2.0,
        v if v < 50f64.sqrt() => 5.0,
        _ => 10.0,
    };
    let borderline = (step * power * 1e4).round() / 1e4;
    Limit::new(borderline, (borderline * 5.0 * 1e4).round() / 1e4)
}

/// The blown spot that still counts as a specular highlight, mm: 3 at 45 cm, as wide at the eye from elsewhere.
#[must_use]
pub fn specular_spot_mm(output: &Output) -> f64 {
    match output.kind {
        OutputKind::Print => ((output.distance_mm / 150.0 * 10.0).round() / 10.0).max(0.1),
        OutputKind::Screen => 3.0,
    }
}

impl Brief {
    /// True where this is a built-in brief as it stands.
    #[must_use]
    pub fn is_built_in(&self) -> bool {
        Self::built_in(&self.name).is_some_and(|brief| brief == *self)
    }

    /// The same output seen from another distance. What the author of the brief stated himself stays; what follows from
    /// the distance follows it. All of a built-in brief does: its resolution as fine at the eye as from its own distance, so that
    /// whoever steps nearer never asks for less.
    #[must_use]
    pub fn seen_from(&self, distance_mm: f64) -> Self {
        let own = self.is_built_in();
        let (before, mut brief) = (self.output, self.clone());
        if (distance_mm - before.distance_mm).abs() < 1e-9 {
            return brief;
        }
        brief.output.distance_mm = distance_mm;
        let now = brief.output;
        let same = |a: f64, b: f64| (a - b).abs() < 1e-9;
        if same(before.ppi_wanted, ppi_wanted(&before)) {
            brief.output.ppi_wanted = ppi_wanted(&now);
        } else if own {
            let as_fine = before.ppi_wanted * before.distance_mm / distance_mm;
            brief.output.ppi_wanted = as_fine.round().clamp(USUAL_PPI.0, USUAL_PPI.1);
        }
        if same(before.ppi_least, ppi_least(before.ppi_wanted)) {
            brief.output.ppi_least = ppi_least(brief.output.ppi_wanted);
        } else if own {
            let share = before.ppi_least / before.ppi_wanted;
            brief.output.ppi_least = (brief.output.ppi_wanted * share * 10.0).round() / 10.0;
        }
        brief.output.ppi_wanted = brief.output.ppi_wanted.max(brief.output.ppi_least);
        if own || self.limits.blown_patch_cm2 == blown_patch_cm2(&before) {
            brief.limits.blown_patch_cm2 = blown_patch_cm2(&now);
        }
        if own || same(self.limits.specular_spot_mm, specular_spot_mm(&before)) {
            brief.limits.specular_spot_mm = specular_spot_mm(&now);
        }
        brief
    }

    /// What looks like a slip in a brief that can be used all the same: one line each, with what to do.
    #[must_use]
    pub fn doubts(&self) -> Vec<String> {
        let o = &self.output;
        let mut doubts = Vec::new();
        if Self::built_in(&self.name).is_some() && !self.is_built_in() {
            doubts.push(format!(
                "it is named `{0}` as the built-in brief, but is another; give it a `name` of its own",
                self.name
            ));
        }
        if o.kind == OutputKind::Screen {
            return doubts;
        }
        let (eye, from) = (eye_ppi(o.distance_mm), self.distance_text());
        // Above half as much again more pixels than are seen are asked for; below 0.6 fewer than a picky eye wants.
        if o.ppi_wanted > 1.6 * eye && !(o.ppi_wanted - ppi_wanted(o)).abs().lt(&0.5) {
            doubts.push(format!(
                "it wants {} ppi, but the eye resolves {eye:.0} from {from}; leave ppi_wanted and ppi_least out, and they follow the distance",
                o.ppi_wanted
            ));
        } else if o.ppi_least < 0.6 * eye.min(USUAL_PPI.1) {
            doubts.push(format!(
                "it lets {} ppi pass, but the eye resolves {eye:.0} from {from}; leave ppi_wanted and ppi_least out, and they follow the distance",
                o.ppi_least
            ));
        }
        let diagonals = o.distance_mm / o.width_mm.hypot(o.height_mm);
        if !(0.25..=4.0).contains(&diagonals) {
            doubts.push(format!(
                "{} seen from {from}: that is {} times its diagonal; is the unit right?",
                self.size_text(),
                super::length::short(diagonals)
            ));
        }
        doubts
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn of(text: &str) -> Brief {
        Brief::parse(text, "x.toml").unwrap()
    }

    /// The built-in briefs state their limits; they are those that follow from their distances.
    #[test]
    fn limits_on_the_paper_are_those_of_the_built_in_briefs() {
        for name in Brief::built_in_names() {
            let brief = Brief::built_in(name).unwrap();
            assert_eq!(brief.limits.blown_patch_cm2, blown_patch_cm2(&brief.output), "{name}");
            assert!((brief.limits.specular_spot_mm - specular_spot_mm(&brief.output)).abs() < 1e-9, "{name}");
        }
        let wall = of("[output]\nsize = \"100 x 75 cm\"\ndistance = \"1 m\"");
        assert_eq!((wall.limits.blown_patch_cm2, wall.limits.specular_spot_mm), (Limit::new(10.0, 50.0), 6.7));
    }

    #[test]
    fn one_wall_is_judged_one_way() {
        let short = of("[output]\nsize = \"100 x 75 cm\"\ndistance = \"1 m\"");
        // What the eye resolves at 1 m: 3438 / 39.37 = 87 ppi; no less than 100 is asked for.
        assert_eq!((short.output.ppi_wanted, short.output.ppi_least), (100.0, 66.7));
        for name in ["album", "portfolio", "exhibition"] {
            let built_in = Brief::built_in(name).unwrap();
            let moved = built_in.seen_from(1000.0);
            assert_eq!(moved.limits, short.limits, "{name}");
            // Its resolution is as fine at the eye as from its own distance, and no less than 100 ppi.
            let as_fine = built_in.output.ppi_wanted * built_in.output.distance_mm / 1000.0;
            assert!((moved.output.ppi_wanted - as_fine.max(100.0)).abs() <= 0.5, "{name}: {:?}", moved.output);
            let share = built_in.output.ppi_least / built_in.output.ppi_wanted;
            assert!(
                (moved.output.ppi_least / moved.output.ppi_wanted - share).abs() < 0.001,
                "{name}: {:?}",
                moved.output
            );
        }
        let words = Brief::find("100 x 75 cm at 1 m").unwrap();
        assert_eq!((words.output, words.limits), (short.output, short.limits));
        // A brief shown, its size and distance changed, its stated lines left as they are.
        assert_eq!(short.seen_from(500.0).seen_from(1000.0), short);
    }

    #[test]
    fn what_the_author_states_stays() {
        let brief = of("[output]\nsize = \"A2\"\ndistance = \"1 m\"\nppi_wanted = 250\n[limits]\nspecular_spot_mm = 1");
        let moved = brief.seen_from(500.0);
        assert_eq!((moved.output.ppi_wanted, moved.limits.specular_spot_mm), (250.0, 1.0));
        assert_eq!(moved.limits.blown_patch_cm2, Limit::new(2.0, 10.0));
    }

    #[test]
    fn doubts_are_said() {
        for name in Brief::built_in_names() {
            assert_eq!(Brief::built_in(name).unwrap().doubts(), Vec::<String>::new(), "{name}");
        }
        let told = |text: &str| of(text).doubts().join("\n");
        let copy = Brief::built_in("exhibition").unwrap().to_toml();
        let copy = copy.replace("30 in x 40 in", "100 cm x 75 cm").replace("75 cm\"\n", "1 m\"\n");
        let copy = copy.replace("size = \"100 cm x 1 m\"", "size = \"100 cm x 75 cm\"");
        assert!(told(&copy).contains("named `exhibition`") && told(&copy).contains("resolves 87 from 1 m"), "{copy}");
        let low = told("[output]\nsize = \"A3\"\ndistance = \"40 cm\"\nppi_wanted = 200\nppi_least = 120");
        assert!(low.contains("lets 120 ppi pass, but the eye resolves 218 from 40 cm"), "{low}");
        assert!(told("[output]\nsize = \"100 x 75 mm\"\ndistance = \"1 m\"").contains("is the unit right?"));
        assert_eq!(told("[output]\nsize = \"100 x 75 cm\"\ndistance = \"1 m\""), "");
        assert_eq!(told("[output]\nsize = \"8 x 10 in\"\ndistance = \"20 cm\""), "");
    }
}
