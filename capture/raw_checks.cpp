#include "capture/raw_checks.h"

#include <algorithm>
#include <cstring>
#include <memory>

#include "capture/raw_channel.h"

namespace assay::capture {

namespace {

constexpr std::int64_t block_frames = 32768;

// Pairs drop out at the first block in which they differ.
void drop_differing(std::vector<std::pair<std::size_t, std::size_t>>& pairs,
                    const std::vector<std::vector<float>>& block) {
    std::erase_if(pairs, [&](const auto& pair) {
        const auto& a = block[pair.first];
        const auto& b = block[pair.second];
        return std::memcmp(a.data(), b.data(), a.size() * sizeof(float)) != 0;
    });
}

}  // namespace

Result<RawChecks> check_raw(const Recording& recording, std::span<const int> channels,
                            const RawCheckLimits& limits) {
    if (channels.empty()) return RawChecks{};
    auto reader = RecordingReader::open(recording);
    if (!reader) return tl::unexpected(reader.error());

    std::vector<std::unique_ptr<RawChannelCheck>> checks;
    std::vector<std::pair<std::size_t, std::size_t>> identical;
    for (std::size_t i = 0; i < channels.size(); ++i) {
        checks.push_back(std::make_unique<RawChannelCheck>(recording, channels[i], limits));
        for (std::size_t k = i + 1; k < channels.size(); ++k) {
            if (channels[i] != channels[k]) identical.emplace_back(i, k);
        }
    }
    RawChecks result;
    std::vector<std::vector<float>> block;
    while (result.frames_read < recording.frames) {
        auto got = reader->read_into(channels, result.frames_read, block_frames, block);
        if (!got) return tl::unexpected(got.error());
        drop_differing(identical, block);
        for (std::size_t i = 0; i < checks.size(); ++i) checks[i]->feed(block[i]);
        result.frames_read += static_cast<std::int64_t>(block.front().size());
    }
    for (const auto& check : checks) result.channels.push_back(check->finish());
    for (const auto& [a, b] : identical) {
        // Two silent channels are no sign of a mono recorder.
        if (!result.channels[a].silent) result.identical.emplace_back(channels[a], channels[b]);
    }
    return result;
}

}  // namespace assay::capture
