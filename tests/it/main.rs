//! The integration tests, one binary; each module is a subject.

#[path = "../support/mod.rs"]
mod support;

mod meters;

/// Lets a test forbid allocation.
#[global_allocator]
static ALLOCATOR: assert_no_alloc::AllocDisabler = assert_no_alloc::AllocDisabler;
