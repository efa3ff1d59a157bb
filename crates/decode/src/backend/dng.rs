//! DNG: tags and levels by our own bounded code, compressed samples by rawler's decompressors.

use super::{Backend, Decoded, Gaps};
use crate::DecodeError;
use crate::container::{Container, Kind};
use crate::content::Content;
use crate::dng;
use crate::frame::Reader;
use crate::tiff::Tiff;

pub(super) struct Dng;

impl Backend for Dng {
    fn reader(&self) -> Reader {
        super::rawler::Rawler.reader()
    }

    fn takes(&self, container: &Container) -> bool {
        container.kind == Kind::Dng
    }

    fn decode(&self, container: &Container, content: &mut Content, _whole: bool) -> Result<Decoded, DecodeError> {
        let (tiff, ..) = Tiff::new(content).ok_or_else(|| DecodeError::NotRaw("it is no TIFF".into()))?;
        let mut raw = dng::find_raw(&tiff, &container.ifds)?;
        let (samples, checked) = dng::decode(&raw, content)?;
        Ok(Decoded {
            black: raw.declared_black(),
            white: raw.declared_white(),
            samples,
            width: raw.width,
            height: raw.height,
            active: raw.active,
            masked: std::mem::take(&mut raw.masked),
            largest_code: checked.largest_code,
            missing: checked.missing,
            dithered: false,
            as_coded: false,
            noise_profile: std::mem::take(&mut raw.noise_profile),
            gaps: Gaps::default(),
            notes: std::mem::take(&mut raw.notes),
            filter: raw.filter,
        })
    }
}
