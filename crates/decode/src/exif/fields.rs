//! The Exif values that the scorecard needs, and the shot made from them.

use exif::{Context, Exif, In, Tag, Value};

use super::{pitch, taken};
use crate::backend::Decoded;
use crate::shot::{Orientation, Shot};

/// Values as read, in plain units.
#[derive(Debug, Default, Clone, PartialEq)]
pub(crate) struct Fields {
    pub(crate) make: Option<String>,
    pub(crate) model: Option<String>,
    pub(crate) lens: Option<String>,
    pub(crate) serial: Option<String>,
    pub(crate) iso: Option<f64>,
    pub(crate) shutter_s: Option<f64>,
    pub(crate) f_number: Option<f64>,
    pub(crate) focal_mm: Option<f64>,
    pub(crate) focal35_mm: Option<f64>,
    pub(crate) exposure_bias_ev: Option<f64>,
    pub(crate) taken_at: Option<String>,
    pub(crate) orientation: Option<u32>,
    /// FocalPlaneXResolution brought to pixels per millimetre.
    pub(crate) focal_plane_px_per_mm: Option<f64>,
    /// PixelXDimension: columns of the picture to which FocalPlaneXResolution refers.
    pub(crate) pixel_x_dimension: Option<f64>,
}

impl Fields {
    /// Takes what is there and plausible.
    pub(crate) fn new(exif: Option<&Exif>) -> Self {
        let Some(exif) = exif else { return Self::default() };
        let get = Getter(exif);
        let positive = |v: Option<f64>| v.filter(|v| v.is_finite() && *v > 0.0);
        // 65535 in the 16-bit field says "see the other ones" (Exif 2.3, PhotographicSensitivity).
        let iso = positive(get.number(34_855)).filter(|&i| i < 65_535.0);
        let iso = iso.or_else(|| positive(get.number(34_866))).or_else(|| positive(get.number(34_867)));
        let shutter = positive(get.number(33_434));
        // The APEX value stands in for a missing time, not for one that was blanked to zero.
        let blank = get.value(33_434).is_some();
        let shutter =
            shutter.or_else(|| get.number(37_377).filter(|_| !blank).filter(|v| v.abs() < 30.0).map(|tv| (-tv).exp2()));
        let f_number = positive(get.number(33_437));
        let f_number =
            f_number.or_else(|| positive(get.number(37_378)).filter(|&v| v < 20.0).map(|av| (av / 2.0).exp2()));
        let unit_mm = match get.number(41_488).unwrap_or(2.0) as u32 {
            3 => 10.0,
            4 => 1.0,
            5 => 0.001,
            _ => 25.4,
        };
        let date = |date: u16, sub: u16, offset: u16| {
            taken::rfc3339(&get.text(date)?, get.text(sub).as_deref(), get.text(offset).as_deref())
        };
        Self {
            make: get.text(271),
            model: get.text(272).or_else(|| get.text(50_708)),
            lens: get.text(42_036),
            serial: get.text(42_033).or_else(|| get.text(50_735)),
            iso,
            shutter_s: shutter,
            f_number: f_number.filter(|&f| f < 200.0),
            focal_mm: positive(get.number(37_386)),
            focal35_mm: positive(get.number(41_989)),
            exposure_bias_ev: get.number(37_380).filter(|b| b.abs() <= 20.0 && (shutter.is_some() || *b != 0.0)),
            taken_at: date(36_867, 37_521, 36_881)
                .or_else(|| date(36_868, 37_522, 36_882))
                .or_else(|| date(306, 37_520, 36_880)),
            orientation: get.number(274).map(|v| v as u32),
            focal_plane_px_per_mm: positive(get.number(41_486)).map(|r| r / unit_mm),
            pixel_x_dimension: positive(get.number(40_962)),
        }
    }

    /// True where nothing is missing that a reader's own records may hold.
    pub(crate) fn are_whole(&self) -> bool {
        let texts = [&self.make, &self.model, &self.lens, &self.serial, &self.taken_at];
        let numbers = [self.iso, self.shutter_s, self.f_number, self.focal_mm, self.exposure_bias_ev];
        texts.iter().all(|t| t.is_some()) && numbers.iter().all(|n| n.is_some()) && self.orientation.is_some()
    }
}

struct Getter<'a>(&'a Exif);

impl Getter<'_> {
    fn value(&self, number: u16) -> Option<&Value> {
        let field = |context| self.0.get_field(Tag(context, number), In::PRIMARY).map(|f| &f.value);
        field(Context::Exif).or_else(|| field(Context::Tiff))
    }

    /// The first number; a rational with denominator zero is none.
    fn number(&self, number: u16) -> Option<f64> {
        let ratio = |n: f64, d: f64| (d != 0.0).then_some(n / d);
        let value = self.value(number)?;
        match value {
            Value::Rational(r) => r.first().and_then(|r| ratio(f64::from(r.num), f64::from(r.denom))),
            Value::SRational(r) => r.first().and_then(|r| ratio(f64::from(r.num), f64::from(r.denom))),
            Value::SByte(v) => v.first().map(|&v| f64::from(v)),
            Value::SShort(v) => v.first().map(|&v| f64::from(v)),
            Value::SLong(v) => v.first().map(|&v| f64::from(v)),
            Value::Float(v) => v.first().map(|&v| f64::from(v)),
            Value::Double(v) => v.first().copied(),
            _ => value.get_uint(0).map(f64::from),
        }
        .filter(|v| v.is_finite())
    }

    /// Text without trailing NULs and blanks; `None` where nothing is left or it only says "unknown".
    fn text(&self, number: u16) -> Option<String> {
        let bytes: &[u8] = match self.value(number)? {
            Value::Ascii(parts) => parts.first()?,
            Value::Byte(bytes) => bytes,
            Value::Undefined(bytes, _) => bytes,
            _ => return None,
        };
        let end = bytes.iter().position(|&b| b == 0).unwrap_or(bytes.len());
        let text = String::from_utf8_lossy(&bytes[..end]);
        let text: String = text.chars().filter(|c| !c.is_control()).collect();
        let text = text.trim();
        (!text.is_empty() && !text.chars().all(|c| "-. :".contains(c))).then(|| text.to_string())
    }
}

/// The shot: Exif first, a reader's own records for gaps.
pub(crate) fn shot(fields: &Fields, decoded: &Decoded, notes: &mut Vec<String>) -> Shot {
    let gaps = &decoded.gaps;
    let f = fields.clone();
    let mut shot = Shot {
        make: f.make.or_else(|| gaps.make.clone()),
        model: f.model.or_else(|| gaps.model.clone()),
        lens: f.lens.or_else(|| gaps.lens.clone()),
        serial: f.serial.or_else(|| gaps.serial.clone()),
        iso: f.iso.or(gaps.iso),
        shutter_s: f.shutter_s.or(gaps.shutter_s),
        f_number: f.f_number.or(gaps.f_number),
        focal_mm: f.focal_mm.or(gaps.focal_mm),
        focal35_mm: f.focal35_mm,
        exposure_bias_ev: f.exposure_bias_ev.or(gaps.exposure_bias_ev),
        taken_at: f.taken_at.or_else(|| gaps.taken.as_deref().and_then(|t| taken::rfc3339(t, None, None))),
        orientation: Orientation::from_exif(f.orientation.or(gaps.orientation).unwrap_or(1)),
        width_px: decoded.active.width,
        height_px: decoded.active.height,
        cfa: decoded.filter.word(),
        pixel_pitch_um: None,
        pitch_from: None,
    };
    pitch::fill(&mut shot, fields, notes);
    shot
}

#[cfg(test)]
mod tests {
    use super::Fields;

    #[test]
    fn fields_are_whole_only_where_nothing_is_missing() {
        let some = || Some("x".to_string());
        let whole = Fields {
            make: some(),
            model: some(),
            lens: some(),
            serial: some(),
            taken_at: some(),
            iso: Some(100.0),
            shutter_s: Some(0.01),
            f_number: Some(8.0),
            focal_mm: Some(50.0),
            exposure_bias_ev: Some(0.0),
            orientation: Some(1),
            ..Fields::default()
        };
        assert!(whole.are_whole() && !Fields::default().are_whole());
        let with = |change: fn(&mut Fields)| {
            let mut fields = whole.clone();
            change(&mut fields);
            fields.are_whole()
        };
        let without: [fn(&mut Fields); 4] =
            [|f| f.lens = None, |f| f.serial = None, |f| f.iso = None, |f| f.orientation = None];
        assert!(without.into_iter().all(|change| !with(change)));
    }
}
