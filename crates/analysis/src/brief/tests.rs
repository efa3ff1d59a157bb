//! Briefs: what is read, what is refused and how.
#![allow(clippy::unwrap_used)]

use super::*;

#[test]
fn built_in_ones_stand_and_write_themselves() {
    for name in Brief::built_in_names() {
        let brief = Brief::built_in(name).unwrap();
        assert_eq!(&brief.name, name);
        let text = brief.to_toml();
        assert_eq!(Brief::parse(&text, "x.toml").unwrap(), brief, "{text}");
    }
    assert_eq!(Brief::default(), Brief::built_in("portfolio").unwrap());
}
