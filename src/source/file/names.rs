//! What a teacher would call a codec and a container: "FLAC", "AAC in M4A", "Ogg Vorbis".
//!
//! In: the decoder library's identifiers. Out: words, and whether the codec loses detail.

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known::*;
use symphonia::core::formats::FormatId;
use symphonia::core::formats::well_known::*;

/// The words for a track of a file; `video` if the file has pictures too.
pub fn kind(container: FormatId, params: &AudioCodecParameters, video: bool) -> String {
    let codec = codec(params.codec);
    let bits = match params.bits_per_sample {
        Some(bits) if codec == "PCM" => format!(" {bits}-bit"),
        _ => String::new(),
    };
    let plain = codec == "PCM";
    match container {
        FORMAT_ID_AIFF if plain => format!("AIFF{bits}"),
        FORMAT_ID_CAF if plain => format!("CAF{bits}"),
        FORMAT_ID_OGG if params.codec == CODEC_ID_VORBIS => "Ogg Vorbis".into(),
        FORMAT_ID_ISOMP4 if video => format!("{codec}{bits} in a video"),
        FORMAT_ID_ISOMP4 if plain => format!("{codec}{bits} in MOV"),
        FORMAT_ID_ISOMP4 => format!("{codec} in M4A"),
        FORMAT_ID_AIFF => format!("{codec} in AIFF"),
        FORMAT_ID_CAF => format!("{codec} in CAF"),
        FORMAT_ID_OGG => format!("{codec} in Ogg"),
        FORMAT_ID_MKV => format!("{codec}{bits} in Matroska"),
        FORMAT_ID_WAVE => format!("{codec} in WAV"),
        _ => format!("{codec}{bits}"),
    }
}

pub fn codec(id: AudioCodecId) -> &'static str {
    match id {
        CODEC_ID_FLAC => "FLAC",
        CODEC_ID_ALAC => "ALAC",
        CODEC_ID_AAC => "AAC",
        CODEC_ID_MP1 => "MPEG layer 1",
        CODEC_ID_MP2 => "MPEG layer 2",
        CODEC_ID_MP3 => "MP3",
        CODEC_ID_VORBIS => "Vorbis",
        CODEC_ID_OPUS => "Opus",
        CODEC_ID_SPEEX => "Speex",
        CODEC_ID_AC3 | CODEC_ID_EAC3 | CODEC_ID_AC4 => "AC-3",
        CODEC_ID_DCA => "DTS",
        CODEC_ID_WMA => "Windows Media Audio",
        CODEC_ID_WAVPACK => "WavPack",
        CODEC_ID_PCM_ALAW => "A-law",
        CODEC_ID_PCM_MULAW => "µ-law",
        CODEC_ID_ADPCM_MS => "MS ADPCM",
        CODEC_ID_ADPCM_IMA_WAV | CODEC_ID_ADPCM_IMA_QT => "IMA ADPCM",
        id if is_pcm(id) => "PCM",
        _ => "an unknown codec",
    }
}

pub fn is_lossy(id: AudioCodecId) -> bool {
    !matches!(id, CODEC_ID_FLAC | CODEC_ID_ALAC | CODEC_ID_WAVPACK) && !is_pcm(id)
}

/// Bits of the stored integers; `None` for floating point and lossy codecs.
pub fn bit_depth(params: &AudioCodecParameters) -> Option<u32> {
    let float = (CODEC_ID_PCM_F32LE..=CODEC_ID_PCM_F64BE_PLANAR).contains(&params.codec);
    if float || is_lossy(params.codec) {
        return None;
    }
    params.bits_per_sample.filter(|&bits| bits > 0).or_else(|| match (params.codec, params.extra_data.as_deref()) {
        (CODEC_ID_ALAC, Some(header)) => alac_bits(header),
        _ => None,
    })
}

pub fn is_pcm(id: AudioCodecId) -> bool {
    (CODEC_ID_PCM_S32LE..=CODEC_ID_PCM_F64BE_PLANAR).contains(&id)
}

/// ALAC keeps the width in the sixth byte of its own header, which CAF may wrap in two boxes of 12 bytes.
fn alac_bits(header: &[u8]) -> Option<u32> {
    let wrapped = header.get(4..8) == Some(b"frma");
    header.get(if wrapped { 24 + 5 } else { 5 }).map(|&bits| u32::from(bits))
}
