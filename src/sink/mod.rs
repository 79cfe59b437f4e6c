//! sink
