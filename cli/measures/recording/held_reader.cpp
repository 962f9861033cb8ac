#include "cli/measures/recording/held_reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <numeric>
#include <utility>

#include "analysis/signal/signal.h"
#include "analysis/signal/windows.h"
#include "analysis/units.h"
#include "capture/full_scale.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placed_take.h"
#include "cli/measures/recording/placing.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double piece_s = 0.02;     // a tone's level is read in pieces, so that its clock does not matter
constexpr double whole_piece = 0.9;  // a fade of 5 ms each way, split over two pieces, leaves 0.875

struct BlockLevel {
    double mean_v = 0.0;
    double lowest_v = 0.0;
};

/// RMS of the tone in a piece of whole cycles.
double piece_level(std::span<const double> volts, double turn) {
    const double step_cos = std::cos(turn);
    const double step_sin = std::sin(turn);
    double x = 1.0;
    double y = 0.0;
    double in_phase = 0.0;
    double across = 0.0;
    for (const double value : volts) {
        in_phase += value * x;
        across += value * y;
        const double next = x * step_cos - y * step_sin;
        y = x * step_sin + y * step_cos;
        x = next;
    }
    return std::numbers::sqrt2 * std::hypot(in_phase, across) / static_cast<double>(volts.size());
}

/// RMS of the tone in a block: the mean of what short pieces of whole cycles show, and the lowest of them;
/// the last one reaches to the block's end.
BlockLevel tone_level(std::span<const double> volts, double rate_hz, double frequency_hz) {
    const double cycles = std::max(1.0, std::round(piece_s * frequency_hz));
    const auto length = static_cast<std::size_t>(std::llround(cycles / frequency_hz * rate_hz));
    if (length == 0 || length > volts.size()) return {};
    const double turn = analysis::two_pi * frequency_hz / rate_hz;
    BlockLevel level{0.0, piece_level(volts.last(length), turn)};
    std::size_t pieces = 0;
    for (std::size_t first = 0; first + length <= volts.size(); first += length, ++pieces) {
        const double piece = piece_level(volts.subspan(first, length), turn);
        level.mean_v += piece;
        level.lowest_v = std::min(level.lowest_v, piece);
    }
    level.mean_v /= static_cast<double>(pieces);
    return level;
}

/// The same of a whole block through a Hann window: without it the recorder's clock, by which a piece holds
/// not quite whole cycles, would move the level by half a thousandth of a decibel.
/// `weights` are those of `smooth_weights`, as many as there are volts.
double smooth_level(std::span<const double> volts, std::span<const std::complex<double>> weights) {
    std::complex<double> sum;
    for (std::size_t n = 0; n < volts.size(); ++n) sum += volts[n] * weights[n];
    return 2.0 * std::numbers::sqrt2 * std::abs(sum) / static_cast<double>(volts.size());
}

/// The same for every block: made once, for a recording of hours has tens of thousands of them.
std::vector<std::complex<double>> smooth_weights(std::size_t count, double turn) {
    const std::vector<double> window = analysis::hann_window(count);
    std::vector<std::complex<double>> weights(count);
    for (std::size_t n = 0; n < count; ++n)
        weights[n] = window[n] * std::polar(1.0, -turn * static_cast<double>(n));
    return weights;
}

double rms_of(const std::vector<double>& volts) {
    const double count = static_cast<double>(volts.size());
    const double mean = std::accumulate(volts.begin(), volts.end(), 0.0) / count;
    const double square = std::inner_product(volts.begin(), volts.end(), volts.begin(), 0.0) / count;
    return std::sqrt(std::max(0.0, square - mean * mean));
}

bool at_top(const std::vector<float>& channel) {
    return std::any_of(channel.begin(), channel.end(),
                       [](float sample) { return std::abs(sample) >= capture::full_scale; });
}

}  // namespace

Result<HeldReader> open_held(const Setup& setup, const Take& take) {
    const std::vector<int> channels = channels_of(setup);
    if (const auto enough = check_channels(take, channels); !enough)
        return tl::unexpected<capture::Fault>(enough.error());
    auto file = capture::RecordingReader::open(take.recording);
    if (!file) return tl::unexpected<capture::Fault>(file.error());
    HeldReader reader{.setup = setup,
                      .take = take,
                      .channels = channels,
                      .file = std::move(*file),
                      .rate_hz = take.recording.rate_hz};
    const auto place_of = [&](std::size_t input) {
        return static_cast<std::size_t>(
            std::lower_bound(channels.begin(), channels.end(), setup.bench->inputs[input].channel) -
            channels.begin());
    };
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        reader.ends.push_back({place_of(load.plus), place_of(load.minus.value_or(load.plus)), &load});
    }
    return reader;
}

std::vector<double> held_volts(const HeldReader& reader, std::size_t load,
                               const std::vector<std::vector<float>>& samples) {
    const HeldEnds& ends = reader.ends[load];
    const auto signal = [&](std::size_t place, std::size_t input) {
        return analysis::Signal{samples[place], reader.rate_hz,
                                reader.setup.bench->inputs[input].volts_per_unit()};
    };
    return analysis::volts_between(
        signal(ends.plus, ends.load->plus),
        ends.load->minus ? signal(ends.minus, *ends.load->minus) : analysis::Signal{});
}

Result<std::vector<double>> held_stretch(HeldReader& reader, std::size_t load, double from_s,
                                         double seconds) {
    const auto first = static_cast<std::int64_t>(std::llround(from_s * reader.rate_hz));
    const auto count = static_cast<std::int64_t>(std::llround(seconds * reader.rate_hz));
    if (first < 0 || first + count > reader.take.recording.frames) return std::vector<double>{};
    std::vector<std::vector<float>> samples;
    if (auto read = reader.file.read_into(reader.channels, first, count, samples); !read)
        return tl::unexpected<capture::Fault>(read.error());
    return held_volts(reader, load, samples);
}

Result<void> read_held_blocks(HeldReader& reader, HeldRecording& held) {
    const auto block = static_cast<std::int64_t>(std::llround(held_block_s * reader.rate_hz));
    const std::vector<std::complex<double>> weights = smooth_weights(
        static_cast<std::size_t>(block), analysis::two_pi * reader.frequency_hz / reader.rate_hz);
    std::vector<std::vector<float>> samples;
    for (std::int64_t first = 0; first + block <= reader.take.recording.frames; first += block) {
        if (auto read = reader.file.read_into(reader.channels, first, block, samples); !read) return read;
        const double at_s = static_cast<double>(first) / reader.rate_hz;
        for (std::size_t l = 0; l < held.loads.size(); ++l) {
            HeldLoad& load = held.loads[l];
            const std::vector<double> volts = held_volts(reader, l, samples);
            BlockLevel level;
            if (reader.frequency_hz > 0.0) {
                level = tone_level(volts, reader.rate_hz, reader.frequency_hz);
                load.block_smooth_v.push_back(smooth_level(volts, weights));
                load.block_rms_v.push_back(rms_of(volts));
                const double usual = load.block_levels.empty() ? level.mean_v : load.block_levels.back();
                if (level.lowest_v < whole_piece * std::max(level.mean_v, usual)) load.dips_s.push_back(at_s);
            } else {
                level.mean_v = rms_of(volts);
            }
            load.block_levels.push_back(level.mean_v);
            const HeldEnds& ends = reader.ends[l];
            if (!at_top(samples[ends.plus]) && !at_top(samples[ends.minus])) continue;
            if (load.overloaded++ == 0) load.overloaded_at_s = at_s;
        }
    }
    return {};
}

double held_least_v(const HeldReader& reader, std::size_t load) {
    constexpr double least_share_of_scale = 1e-3;
    return least_share_of_scale *
           std::abs(reader.setup.bench->inputs[reader.ends[load].load->plus].volts_per_unit());
}

capture::Fault held_signal_missing(const HeldReader& reader, std::size_t load, bool noise) {
    return {capture::FaultKind::untrusted_capture,
            fmt::format("{}: no signal at {}: {}", file_of(reader.take), reader.ends[load].load->in_words(),
                        noise ? "no noise of the test that comes again period by period"
                              : "no tone of the test's frequency stands still for two seconds"),
            std::nullopt,
            noise ? "check the player, the leads and the channel numbers; no equaliser, no loudness, the "
                    "test's own file"
                  : "check the player, the leads, the channel numbers and frequency_hz, then record again"};
}

}  // namespace assay::cli
