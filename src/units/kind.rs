//! What stands at the other end of a wire: the words of the input list.

/// A kind of sound source, as the trade names it. What each wants is the coach's business.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SourceKind {
    Speech,
    SoloVocal,
    Headset,
    Choir,
    AcousticGuitar,
    Bass,
    Keys,
    Kick,
    Snare,
    Overhead,
    Brass,
    Woodwind,
    Piano,
    Percussion,
    Playback,
    Other,
}

impl SourceKind {
    pub const ALL: [Self; 16] = [
        Self::Speech,
        Self::SoloVocal,
        Self::Headset,
        Self::Choir,
        Self::AcousticGuitar,
        Self::Bass,
        Self::Keys,
        Self::Kick,
        Self::Snare,
        Self::Overhead,
        Self::Brass,
        Self::Woodwind,
        Self::Piano,
        Self::Percussion,
        Self::Playback,
        Self::Other,
    ];

    /// The word in `inputs.csv` and on the screen.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Speech => "speech",
            Self::SoloVocal => "solo vocal",
            Self::Headset => "headset",
            Self::Choir => "choir",
            Self::AcousticGuitar => "acoustic guitar",
            Self::Bass => "bass",
            Self::Keys => "keys",
            Self::Kick => "kick",
            Self::Snare => "snare",
            Self::Overhead => "overhead",
            Self::Brass => "brass",
            Self::Woodwind => "woodwind",
            Self::Piano => "piano",
            Self::Percussion => "percussion",
            Self::Playback => "playback",
            Self::Other => "other",
        }
    }

    /// The kind whose word this is; case, `_` and `-` do not matter.
    pub fn from_word(word: &str) -> Option<Self> {
        let plain = word.trim().to_lowercase().replace(['_', '-'], " ");
        Self::ALL.into_iter().find(|kind| kind.word() == plain)
    }

    /// Usually taken up by a microphone in the room, which hears loudspeakers too; else a line.
    pub const fn is_miked(self) -> bool {
        !matches!(self, Self::AcousticGuitar | Self::Bass | Self::Keys | Self::Playback)
    }

    /// Hits with silence between them: judged by its peaks, never "too low" in the gaps.
    pub const fn is_intermittent(self) -> bool {
        matches!(self, Self::Kick | Self::Snare | Self::Percussion)
    }
}
