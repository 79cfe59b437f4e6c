//! The integration tests, one binary; each module is a subject.
mod soundcheck;

/// The event folder: reading, exact errors, saving.
mod event;
/// The house: who may name whom, and what stands where.
mod house;

#[path = "../support/mod.rs"]
mod support;

mod meters;

/// Lets a test forbid allocation.

mod files;

/// Lets a test forbid allocation on its own thread.
#[global_allocator]
static ALLOCATOR: assert_no_alloc::AllocDisabler = assert_no_alloc::AllocDisabler;
