// Writes tones as sound files for a player.
#pragma once

#include <filesystem>
#include <vector>

#include "capture/bench.h"
#include "capture/fault.h"
#include "capture/tone/tone.h"

namespace assay::cli {

struct ToneFileOptions {
    int bits = 24;
    bool dither = false;
};

/// Channel n of the file is output channel n; outputs that do not play are silent. A bench without outputs
/// gets two equal channels.
[[nodiscard]] capture::Result<void> write_tone_file(const capture::Tone& tone, const capture::Bench& bench,
                                                    const std::vector<std::size_t>& outputs,
                                                    const std::filesystem::path& path,
                                                    const ToneFileOptions& options);

}  // namespace assay::cli
