//! Settings and what was read at them, in the order in which they are told.

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::stats::Estimate;

/// A named text or number; `null` where the file does not tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Setting {
    /// A number.
    Number(f64),
    /// A name.
    Text(String),
    /// Not known.
    Unknown,
}

impl Setting {
    /// The number, where it is one.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Number(value) => Some(*value),
            _ => None,
        }
    }
}

impl From<Option<&str>> for Setting {
    fn from(text: Option<&str>) -> Self {
        text.map_or(Self::Unknown, |t| Self::Text(t.to_string()))
    }
}

impl From<Option<f64>> for Setting {
    fn from(value: Option<f64>) -> Self {
        value.filter(|v| v.is_finite()).map_or(Self::Unknown, Self::Number)
    }
}

/// Named settings, kept in order: what the frames of a group have in common.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Key(pub Vec<(&'static str, Setting)>);

impl Serialize for Key {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(name, value)| (name, value)))
    }
}

/// Named medians with their 90 % intervals, kept in order. Written as `name`, `name_low` and `name_high`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readings(pub Vec<(&'static str, Estimate)>);

impl Readings {
    /// The estimate of that name; an empty one where there is none.
    #[must_use]
    pub fn get(&self, name: &str) -> Estimate {
        self.0.iter().find(|r| r.0 == name).map(|r| r.1).unwrap_or_default()
    }

    /// The median of that name.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<f64> {
        self.get(name).value
    }
}

impl Serialize for Readings {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(3 * self.0.len()))?;
        for (name, estimate) in &self.0 {
            map.serialize_entry(name, &estimate.value)?;
            map.serialize_entry(&format!("{name}_low"), &estimate.low)?;
            map.serialize_entry(&format!("{name}_high"), &estimate.high)?;
        }
        map.end()
    }
}
