//! Raises the thread that calls back for sound above what else the machine does, where the system allows it.
//!
//! Linux: round robin in real time at a low rank, for who may (a limit `rtprio`, which sound servers bring for the group
//! `audio`). Windows: time-critical. macOS runs such threads in real time by itself. A refusal is no error: only a busy
//! machine may then lose sound, and that is counted when it happens. It allocates nothing, so that a callback may call it.

/// Of 1 to 99: over every ordinary program, under the system's own threads.
#[cfg(target_os = "linux")]
const RANK: u8 = 10;

pub(super) fn raise() {
    #[cfg(target_os = "linux")]
    if let Ok(rank) = thread_priority::ThreadPriorityValue::try_from(RANK) {
        let _ = thread_priority::set_thread_priority_and_policy(
            thread_priority::thread_native_id(),
            thread_priority::ThreadPriority::Crossplatform(rank),
            thread_priority::ThreadSchedulePolicy::Realtime(thread_priority::RealtimeThreadSchedulePolicy::RoundRobin),
        );
    }
    #[cfg(windows)]
    let _ = thread_priority::set_current_thread_priority(thread_priority::ThreadPriority::Max);
}
