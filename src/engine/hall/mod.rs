//! A hall with loudspeakers, as a ring-out or a show needs it: heard 100 ms at a time, its desk moved from here or by hand.
//!
//! The simulated one (`stage`), whose desk obeys, and the real one behind a device (`live`). Both hear through the same
//! meters and the same detector. Time is the audio clock. While a device is gone time stands still.

mod attention;
mod ears;
mod live;
mod overheard;
mod stage;

pub use attention::{Attending, Attention, Room};
pub use ears::Ears;
pub use live::LiveHall;
pub use overheard::{Overheard, Overhearing, overhear};
pub use stage::StageHall;

use crate::coach::linecheck::LineInput;
use crate::coach::ringout::{Band, Output, Place};
use crate::detectors::Ring;
use crate::units::{ChannelId, Db, Hertz, Seconds};

/// What is listened to at a time.
pub(super) const FRAME: Seconds = Seconds::new(0.1);

/// What a ring-out or a show needs of a hall.
pub trait Hall {
    /// Hears the next 100 ms: the time, and the rings of now. `None`: the sound is over.
    fn listen(&mut self) -> Option<(Seconds, &[Ring])>;

    /// What hears it, where something does.
    fn ears(&self) -> Option<&Ears> {
        None
    }

    fn ears_mut(&mut self) -> Option<&mut Ears> {
        None
    }

    /// The rings of now.
    fn rings(&self) -> &[Ring] {
        self.ears().map_or(&[], Ears::rings)
    }

    /// While on, steady tones are taken for the room's own; afterwards they are set aside.
    fn learn_room(&mut self, on: bool) {
        if let Some(ears) = self.ears_mut() {
            ears.learn_room(on);
        }
    }

    /// The loudest of all channels in each 24th of an octave (see `meters::Spectrum`), mean square.
    fn spectrum(&self, into: &mut Vec<f32>) {
        if let Some(ears) = self.ears() {
            ears.spectrum(into);
        }
    }

    /// From now on for a show.
    fn attend(&mut self, to: &Attending) {
        if let Some(ears) = self.ears_mut() {
            ears.attend(to);
        }
    }

    /// What a show needs beside rings; `None` before `attend`.
    fn attention(&self) -> Option<&Attention> {
        self.ears().and_then(Ears::attention)
    }

    fn attention_mut(&mut self) -> Option<&mut Attention> {
        self.ears_mut().and_then(Ears::attention_mut)
    }

    /// On the simulated stage: someone puts a line right, its knob where the soundcheck left it.
    fn mend(&mut self, _: ChannelId) {}

    /// On the simulated stage: its own list.
    fn line_inputs(&self) -> Vec<LineInput> {
        Vec::new()
    }

    /// Whether the desk can be moved from here; else orders are for the person's own hands.
    fn has_a_desk(&self) -> bool;

    /// Why no sound comes, if that is anybody's fault: its device is gone, for a while or for good.
    fn lost(&self) -> Option<String> {
        None
    }

    /// How much sound is missing so far.
    fn missed(&self) -> Seconds {
        Seconds::ZERO
    }

    /// `to` is counted from the show mark.
    fn set_output(&mut self, output: Output, to: Db);
    fn set_channel(&mut self, channel: ChannelId, to: Db);
    fn set_open(&mut self, channel: ChannelId, open: bool);
    fn set_low_cut(&mut self, channel: ChannelId, at: Hertz);
    /// The whole depth of a band, 0 and below.
    fn set_band(&mut self, place: Place, band: Band, depth: Db);
}
