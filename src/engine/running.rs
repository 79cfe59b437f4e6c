//! An engine on a thread of its own: it reads its source, works, publishes pictures, takes commands.
//!
//! Latest wins: a face that stalls loses no sound and no measurement, it only sees fewer pictures. The face is woken
//! through a callback that it gave, at most thirty times a second; of a device every block makes a picture, so that one
//! that is asked for is never old. A lost device is a state with words until it is back, not a frozen picture. So is a
//! panic: the work begins anew on the sound that goes on, and only one that fails again and again ends the engine.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, SyncSender, TrySendError};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::ears::{Ears, Status};
use crate::block::BlockBuf;
use crate::source::Flow;
use crate::source::live::raise_listener;
use crate::units::Seconds;

/// What an engine does with what it hears.
pub(super) trait Work: Send + 'static {
    type Picture: Clone + Send + 'static;
    type Advice: Copy + Send + 'static;
    type Command: Send + 'static;

    fn hear(&mut self, block: &BlockBuf);
    fn obey(&mut self, command: Self::Command, ears: &mut Ears);
    /// After each block: the simulated helper's turn, and whatever else goes on beside the sound.
    fn look_after(&mut self, ears: &mut Ears);
    /// With a helper there is nothing more to be done.
    fn is_over(&self) -> bool;
    fn finish(&mut self);
    /// It panicked: what it measured with may be half done and is made anew.
    fn begin_anew(&mut self);

    fn picture(&self) -> &Self::Picture;
    fn at(&self) -> Seconds;
    fn advice(&self) -> Self::Advice;
    /// Whether both ask for the same step.
    fn same(a: &Self::Advice, b: &Self::Advice) -> bool;
}

/// Told of every picture that is published, from the engine's own thread.
pub type WakeOn<P> = Box<dyn FnMut(&P, &Status) + Send>;

/// A face's end of it. Dropping it ends the engine.
pub(super) struct Running<P, A, C> {
    shared: Arc<Shared<P>>,
    commands: SyncSender<Option<C>>,
    changes: Receiver<(Seconds, A)>,
    thread: Option<JoinHandle<()>>,
}

struct Shared<P> {
    picture: Mutex<P>,
    status: Mutex<Status>,
}

const COMMANDS: usize = 64;
const CHANGES: usize = 1024;
const WAKE_EVERY: Duration = Duration::from_millis(33);
/// How long a new beginning is told.
const TOLD_FOR: Duration = Duration::from_secs(20);
/// With so many panics within `TOLD_FOR` another beginning would not help.
const PANICS: usize = 3;

impl<P: Clone + Send + 'static, A: Copy + Send + 'static, C: Send + 'static> Running<P, A, C> {
    pub fn start<W>(name: &str, work: W, ears: Ears, wake: Option<WakeOn<P>>) -> std::io::Result<Self>
    where
        W: Work<Picture = P, Advice = A, Command = C>,
    {
        let shared =
            Arc::new(Shared { picture: Mutex::new(work.picture().clone()), status: Mutex::new(Status::Running) });
        let (commands, inbox) = mpsc::sync_channel(COMMANDS);
        let (outbox, changes) = mpsc::sync_channel(CHANGES);
        let shared_too = Arc::clone(&shared);
        let engine = Engine { work, ears, shared: shared_too, inbox, outbox, wake, last: None, panics: Vec::new() };
        let thread = std::thread::Builder::new().name(name.into()).spawn(move || engine.run())?;
        Ok(Self { shared, commands, changes, thread: Some(thread) })
    }

    /// Every change of the next step, in order, with its time on the audio clock.
    pub fn changes(&self) -> &Receiver<(Seconds, A)> {
        &self.changes
    }

    /// The newest picture.
    pub fn picture(&self) -> P {
        lock(&self.shared.picture).clone()
    }

    pub fn status(&self) -> Status {
        // Asked first: a thread that ends between the two has told its end by then.
        let finished = self.thread.as_ref().is_some_and(JoinHandle::is_finished);
        match lock(&self.shared.status).clone() {
            Status::Ended => Status::Ended,
            _ if finished => {
                Status::Lost("the engine stopped unexpectedly. Start again; nothing stored is lost".into())
            }
            status => status,
        }
    }

    /// Does not wait: with sixty-four commands waiting, a further one is dropped and `false` comes back.
    pub fn send(&self, command: C) -> bool {
        self.commands.try_send(Some(command)).is_ok()
    }

    /// Asks it to end, and waits for its last picture, for so long at most.
    pub fn end(&self, within: Duration) {
        let _ = self.commands.try_send(None);
        let asked = Instant::now();
        // Changes must go on being taken: the engine may wait to tell of one.
        while let Some(left) = within.checked_sub(asked.elapsed()) {
            if let Err(RecvTimeoutError::Disconnected) = self.changes.recv_timeout(left) {
                return;
            }
        }
    }
}

impl<P, A, C> Drop for Running<P, A, C> {
    fn drop(&mut self) {
        let _ = self.commands.try_send(None);
        // Unblocks an engine that waits to tell of a change.
        while self.thread.as_ref().is_some_and(|thread| !thread.is_finished()) {
            while self.changes.try_recv().is_ok() {}
            std::thread::sleep(Duration::from_millis(1));
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What the thread owns.
struct Engine<W: Work> {
    work: W,
    ears: Ears,
    shared: Arc<Shared<W::Picture>>,
    inbox: Receiver<Option<W::Command>>,
    outbox: SyncSender<(Seconds, W::Advice)>,
    wake: Option<WakeOn<W::Picture>>,
    last: Option<W::Advice>,
    /// When the newest were.
    panics: Vec<Instant>,
}

impl<W: Work> Engine<W> {
    fn run(mut self) {
        if self.ears.is_live() {
            raise_listener();
        }
        while catch_unwind(AssertUnwindSafe(|| self.work_on())).is_err() {
            self.panics.retain(|panic| panic.elapsed() < TOLD_FOR);
            self.panics.push(Instant::now());
            if self.panics.len() == PANICS {
                return;
            }
            self.work.begin_anew();
            self.last = None;
        }
        self.work.finish();
        self.publish();
        self.tell(Status::Ended);
    }

    fn work_on(&mut self) {
        let mut block = self.ears.block();
        let mut told = None::<Instant>;
        while self.carry_out_commands() {
            let flow = self.ears.read(&mut block);
            self.work.hear(&block);
            if flow == Flow::End {
                break;
            }
            self.work.look_after(&mut self.ears);
            self.tell_changes();
            if self.ears.is_helped() && self.work.is_over() {
                break;
            }
            let due = told.is_none_or(|told| told.elapsed() >= WAKE_EVERY);
            if due || self.ears.is_live() && !block.is_empty() {
                self.publish();
            }
            if due {
                self.tell(self.status());
                told = Some(Instant::now());
            }
            self.ears.keep_pace(self.work.at());
        }
    }

    fn status(&self) -> Status {
        match self.ears.status() {
            Status::Running if self.panics.last().is_some_and(|panic| panic.elapsed() < TOLD_FOR) => Status::BegunAnew,
            status => status,
        }
    }

    /// `false`: it is to end.
    fn carry_out_commands(&mut self) -> bool {
        while let Ok(command) = self.inbox.try_recv() {
            let Some(command) = command else { return false };
            self.work.obey(command, &mut self.ears);
        }
        true
    }

    fn tell_changes(&mut self) {
        let advice = self.work.advice();
        if self.last.as_ref().is_some_and(|last| W::same(last, &advice)) {
            return;
        }
        self.last = Some(advice);
        let change = (self.work.at(), advice);
        if self.ears.is_helped() {
            // Nobody waits for this sound: the face may take its time.
            let _ = self.outbox.send(change);
        } else if let Err(TrySendError::Full(_)) = self.outbox.try_send(change) {
            self.last = None;
        }
    }

    fn publish(&self) {
        lock(&self.shared.picture).clone_from(self.work.picture());
    }

    fn tell(&mut self, status: Status) {
        *lock(&self.shared.status) = status.clone();
        if let Some(wake) = &mut self.wake {
            wake(self.work.picture(), &status);
        }
    }
}

/// A panic elsewhere must not take the readings away.
pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::stage::{Mood, Stage, StageConfig};
    use crate::units::{FrameCount, SampleRate};

    /// Counts the blocks that it hears since it last began, and its beginnings; panics when it is told to.
    struct Fragile {
        picture: (u64, u32),
        at: Seconds,
    }

    impl Work for Fragile {
        type Picture = (u64, u32);
        type Advice = ();
        type Command = ();

        fn hear(&mut self, block: &BlockBuf) {
            self.picture.0 += 1;
            self.at = (block.as_block().start() + FrameCount::new(block.frames() as u64)).at(rate());
        }

        fn obey(&mut self, (): (), _: &mut Ears) {
            panic!("as it was told");
        }

        fn look_after(&mut self, _: &mut Ears) {}

        fn is_over(&self) -> bool {
            false
        }

        fn finish(&mut self) {}

        fn begin_anew(&mut self) {
            self.picture = (0, self.picture.1 + 1);
        }

        fn picture(&self) -> &(u64, u32) {
            &self.picture
        }

        fn at(&self) -> Seconds {
            self.at
        }

        fn advice(&self) {}

        fn same((): &(), (): &()) -> bool {
            true
        }
    }

    fn rate() -> SampleRate {
        SampleRate::new(8_000).expect("a rate")
    }

    /// Two panics are new beginnings, told in a state, on sound that goes on; the third ends it, in words.
    #[test]
    fn a_panic_is_a_new_beginning_and_the_third_is_the_end() {
        let ears = Ears::on_the_stage(Stage::new(StageConfig::new(1, Mood::Normal, rate())), 1, false);
        let work = Fragile { picture: (0, 0), at: Seconds::ZERO };
        let (woken, wakes) = mpsc::channel();
        let wake = Box::new(move |picture: &(u64, u32), status: &Status| {
            let _ = woken.send((*picture, status.clone()));
        });
        let running = Running::start("fragile", work, ears, Some(wake)).expect("a thread");
        let heard = |beginnings| wakes.iter().find(|((blocks, begun), _)| *blocks > 5 && *begun == beginnings);
        assert_eq!(heard(0).expect("sound").1, Status::Running);
        for beginnings in 1..PANICS as u32 {
            assert!(running.send(()));
            assert_eq!(heard(beginnings).expect("sound again").1, Status::BegunAnew);
            assert_eq!(running.status(), Status::BegunAnew);
        }
        assert!(running.send(()));
        assert_eq!(heard(PANICS as u32), None, "nothing more is told");
        while !running.thread.as_ref().is_some_and(JoinHandle::is_finished) {
            std::thread::yield_now();
        }
        let Status::Lost(why) = running.status() else { panic!("it is no state") };
        assert!(why.contains("stopped unexpectedly. Start again"), "{why}");
    }
}
