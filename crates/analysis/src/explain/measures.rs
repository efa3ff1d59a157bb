use super::Explanation;
pub(super) const MEASURES: &[Explanation] = &[];
