//! Raises the threads that sound waits for above what else the machine does, where the system allows it.
//!
//! Linux: round robin in real time at a low rank, for who may (a limit `rtprio`, which sound servers bring for the group
//! `audio`). Windows: time-critical for the thread that calls back, the highest of the usual ones for who listens.
//! macOS runs the former in real time by itself. A refusal is no error: only a busy
//! machine may then lose sound, and that is counted when it happens. It allocates nothing, so that a callback may call it.

#[cfg(windows)]
use thread_priority::WinAPIThreadPriority as Rank;

/// Of 1 to 99: over every ordinary program, under the system's own threads.
#[cfg(target_os = "linux")]
#[derive(Clone, Copy)]
enum Rank {
    TimeCritical = 10,
    Highest = 5,
}

/// The thread that calls back for sound.
pub(super) fn raise_caller() {
    #[cfg(any(target_os = "linux", windows))]
    raise(Rank::TimeCritical);
}

/// The thread that reads what has come, and measures it.
pub fn raise_listener() {
    #[cfg(any(target_os = "linux", windows))]
    raise(Rank::Highest);
}

#[cfg(target_os = "linux")]
fn raise(rank: Rank) {
    if let Ok(rank) = thread_priority::ThreadPriorityValue::try_from(rank as u8) {
        let _ = thread_priority::set_thread_priority_and_policy(
            thread_priority::thread_native_id(),
            thread_priority::ThreadPriority::Crossplatform(rank),
            thread_priority::ThreadSchedulePolicy::Realtime(thread_priority::RealtimeThreadSchedulePolicy::RoundRobin),
        );
    }
}

#[cfg(windows)]
fn raise(rank: Rank) {
    let _ = thread_priority::set_current_thread_priority(thread_priority::ThreadPriority::Os(rank.into()));
}
