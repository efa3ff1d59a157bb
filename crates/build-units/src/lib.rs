//! Empty on purpose: its dependencies are what counts.
