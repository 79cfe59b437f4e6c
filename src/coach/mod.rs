//! coach
