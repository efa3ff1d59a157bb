//! `damaged`: part of the sensor data is missing.

use super::{Case, Finding, FindingCode, Severity};

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let reason = case.damaged?;
    Some(Finding {
        code: FindingCode::Damaged,
        severity: Severity::Fails,
        measured: None,
        limit: None,
        unit: String::new(),
        text: format!("Part of the sensor data is missing: {reason}."),
        remedy:
            "Copy the file again from the card before you format it, and check card and reader; keep the file until a \
                 whole copy is safe"
                .into(),
    })
}
