//! The integration tests, one binary; each module is a subject.

mod stage;
