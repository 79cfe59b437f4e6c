//! event
