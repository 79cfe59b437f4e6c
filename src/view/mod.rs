//! view
