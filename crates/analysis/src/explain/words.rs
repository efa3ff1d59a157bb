use super::Explanation;
pub(super) const WORDS: &[Explanation] = &[];
