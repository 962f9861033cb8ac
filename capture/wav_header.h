// The length that the header of a WAV or RF64 file claims, against what the file holds. Sound file
// libraries repair such headers silently; a measurement has to know.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>

namespace assay::capture {

struct WavLength {
    enum class Verdict {
        whole,       // header and file agree
        cut_short,   // the file ends before the samples that the header announces
        unknown,     // the header has no length: the recorder was killed, or wrote to a pipe
        wrapped,     // the file grew past 4 GiB and the 32-bit length started again from zero
        no_samples,  // there is no data chunk
    };
    Verdict verdict = Verdict::whole;
    std::int64_t announced_bytes = 0;  // of samples, by the header
    std::int64_t held_bytes = 0;       // of samples, up to the end of the file at most
};

/// Empty when the file is no WAV and no RF64. Source: the RIFF chunk layout and EBU Tech 3306 (RF64).
std::optional<WavLength> read_wav_length(const std::filesystem::path& path);

}  // namespace assay::capture
