//! The integration tests, one binary; each module is a subject.

mod live;

/// Lets a test forbid allocation on its own thread.
#[global_allocator]
static ALLOCATOR: assert_no_alloc::AllocDisabler = assert_no_alloc::AllocDisabler;
