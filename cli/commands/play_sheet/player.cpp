#include "cli/commands/play_sheet/player.h"

#include <algorithm>

#include "capture/recording.h"

namespace assay::cli {

capture::Result<void> write_tone_file(const capture::Tone& tone, const capture::Bench& bench,
                                      const std::vector<std::size_t>& outputs,
                                      const std::filesystem::path& path, const ToneFileOptions& options) {
    constexpr std::int64_t block = 1 << 14;
    std::vector<float> gains(2, bench.outputs.empty() ? 1.0F : 0.0F);
    for (const capture::Output& output : bench.outputs) {
        gains.resize(std::max(gains.size(), static_cast<std::size_t>(output.channel)), 0.0F);
    }
    for (const std::size_t index : outputs) {
        const capture::Output& output = bench.outputs[index];
        gains[static_cast<std::size_t>(output.channel - 1)] = output.inverted ? -1.0F : 1.0F;
    }
    constexpr std::uint64_t dither_seed = 20250101;
    capture::WriterFormat format{tone.rate_hz, static_cast<int>(gains.size()), options.bits, std::nullopt};
    if (options.dither) format.dither_seed = dither_seed;
    auto writer = capture::RecordingWriter::create(path, format);
    if (!writer) return tl::unexpected<capture::Fault>(writer.error());
    std::vector<float> mono(block);
    std::vector<float> interleaved;
    for (std::int64_t first = 0; first < tone.frames; first += block) {
        mono.resize(static_cast<std::size_t>(std::min(block, tone.frames - first)));
        capture::render(tone, first, mono);
        interleaved.clear();
        for (const float sample : mono) {
            for (const float gain : gains) interleaved.push_back(gain * sample);
        }
        if (const auto written = writer->write(interleaved); !written) return written;
    }
    return writer->finish();
}

}  // namespace assay::cli
