#include "cli/measures/held_recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <set>
#include <utility>

#include "analysis/amplifier/steady_step.h"
#include "analysis/signal/signal.h"
#include "cli/measures/fields.h"
#include "cli/measures/placed_take.h"
#include "cli/measures/placing.h"
#include "cli/measures/scale.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double full_scale = 0.9999;
constexpr double least_share_of_scale = 1e-3;  // -60 dBFS: less is no tone
constexpr double window_s = 0.5;
constexpr std::array<double, 3> window_places{0.2, 0.5, 0.8};  // within a row
constexpr double piece_s = 0.02;       // a tone's level is read in pieces, so that its clock does not matter
constexpr double whole_block = 0.985;  // of its row's loudest block: a lower one has a gap in it
constexpr double least_share_of_loudest = 0.25;  // of the first block
constexpr double least_purity = 0.5;             // a fit that leaves more than half is of another signal

struct Ends {
    std::size_t plus = 0;  // places among the channels that are read
    std::size_t minus = 0;
    const capture::Load* load = nullptr;
};

std::vector<double> volts_of(const Setup& setup, const Ends& ends,
                             const std::vector<std::vector<float>>& samples, double rate_hz) {
    const auto signal = [&](std::size_t place, std::size_t input) {
        return analysis::Signal{samples[place], rate_hz, setup.bench->inputs[input].volts_per_unit()};
    };
    return analysis::volts_between(
        signal(ends.plus, ends.load->plus),
        ends.load->minus ? signal(ends.minus, *ends.load->minus) : analysis::Signal{});
}

/// RMS of the tone in a block: the mean of what short pieces of whole cycles show.
double tone_level(const std::vector<double>& volts, double rate_hz, double frequency_hz) {
    const double cycles = std::max(1.0, std::round(piece_s * frequency_hz));
    const auto length = static_cast<std::size_t>(std::llround(cycles / frequency_hz * rate_hz));
    const double turn = 2.0 * std::numbers::pi * frequency_hz / rate_hz;
    const double step_cos = std::cos(turn);
    const double step_sin = std::sin(turn);
    double sum = 0.0;
    std::size_t pieces = 0;
    for (std::size_t first = 0; first + length <= volts.size(); first += length, ++pieces) {
        double x = 1.0;
        double y = 0.0;
        double in_phase = 0.0;
        double across = 0.0;
        for (std::size_t n = first; n < first + length; ++n) {
            in_phase += volts[n] * x;
            across += volts[n] * y;
            const double next = x * step_cos - y * step_sin;
            y = x * step_sin + y * step_cos;
            x = next;
        }
        sum += std::hypot(in_phase, across);
    }
    return pieces == 0
               ? 0.0
               : std::numbers::sqrt2 * sum / static_cast<double>(pieces) / static_cast<double>(length);
}

capture::Fault no_tone(const Take& take, const std::string& load) {
    return {capture::FaultKind::untrusted_capture,
            fmt::format(
                "{}: no signal at load \"{}\": no tone of the test's frequency stands still for two seconds",
                file_of(take), load),
            std::nullopt,
            "check the player, the leads, the channel numbers and frequency_hz, then record again"};
}

struct Reader {
    const Setup& setup;
    const Take& take;
    std::vector<int> channels{};
    std::vector<Ends> ends{};
    capture::RecordingReader file;
    double rate_hz = 0.0;
    double frequency_hz = 0.0;
};

Result<void> read_blocks(Reader& reader, HeldRecording& held) {
    const auto block = static_cast<std::int64_t>(std::llround(held_block_s * reader.rate_hz));
    std::vector<std::vector<float>> samples;
    for (std::int64_t first = 0; first + block <= reader.take.recording.frames; first += block) {
        if (auto read = reader.file.read_into(reader.channels, first, block, samples); !read) return read;
        for (std::size_t l = 0; l < held.loads.size(); ++l) {
            HeldLoad& load = held.loads[l];
            load.block_levels.push_back(
                tone_level(volts_of(reader.setup, reader.ends[l], samples, reader.rate_hz), reader.rate_hz,
                           reader.frequency_hz));
            const auto at_top = [](const std::vector<float>& channel) {
                return std::any_of(channel.begin(), channel.end(),
                                   [](float sample) { return std::abs(sample) >= full_scale; });
            };
            if (!at_top(samples[reader.ends[l].plus]) && !at_top(samples[reader.ends[l].minus])) continue;
            if (load.overloaded++ == 0) load.overloaded_at_s = static_cast<double>(first) / reader.rate_hz;
        }
    }
    return {};
}

/// The middle one of a row's windows that can be trusted.
Result<void> read_row(Reader& reader, HeldRecording& held, std::size_t l, double from_s, double row_s,
                      double& frequency_hz) {
    HeldLoad& load = held.loads[l];
    const capture::Input& plus = reader.setup.bench->inputs[reader.ends[l].load->plus];
    const auto block_at = [&](double seconds) {
        return std::min(static_cast<std::size_t>(std::max(0.0, seconds - held.start_s) / held_block_s),
                        load.block_levels.size() - 1);
    };
    const auto begin = load.block_levels.begin();
    const double loudest =
        *std::max_element(begin + static_cast<std::ptrdiff_t>(block_at(from_s)),
                          begin + static_cast<std::ptrdiff_t>(block_at(from_s + row_s)) + 1);
    if (loudest < least_share_of_loudest * load.block_levels.front()) return {};  // the output is gone
    std::vector<std::pair<double, analysis::HeldRow>> good;
    std::vector<std::vector<float>> samples;
    for (const double place : window_places) {
        const double at_s = from_s + place * row_s - 0.5 * window_s;
        const auto first = static_cast<std::int64_t>(std::llround(at_s * reader.rate_hz));
        const auto count = static_cast<std::int64_t>(std::llround(window_s * reader.rate_hz));
        if (first + count > reader.take.recording.frames) continue;
        bool whole = true;
        for (std::size_t b = block_at(at_s); b <= block_at(at_s + window_s); ++b)
            whole = whole && load.block_levels[b] >= whole_block * loudest;
        if (!whole) {
            ++load.left_out;
            continue;
        }
        if (auto read = reader.file.read_into(reader.channels, first, count, samples); !read) return read;
        analysis::StepReading reading = analysis::read_step(
            volts_of(reader.setup, reader.ends[l], samples, reader.rate_hz), reader.rate_hz,
            {.frequency_guess_hz = frequency_hz,
             .nominal_hz = reader.frequency_hz,
             .bandwidth_hz = field_number(*reader.setup.test, "distortion_bandwidth_hz"),
             .high_pass_hz = 0.0});
        if (reading.disturbed || !(reading.fundamental_v > 0.0) || reading.thd_plus_noise > least_purity) {
            ++load.left_out;
            continue;
        }
        if (!reader.ends[l].load->minus) refer_to_scale(plus, reading);
        good.emplace_back(
            reading.frequency_hz,
            analysis::HeldRow{(at_s + 0.5 * window_s - held.start_s) / 60.0, reading.total_v,
                              reading.fundamental_doubt_v, std::max(reading.thd, reading.thd_noise)});
    }
    if (good.empty()) return {};
    std::sort(good.begin(), good.end(),
              [](const auto& a, const auto& b) { return a.second.total_v < b.second.total_v; });
    frequency_hz = good[good.size() / 2].first;
    load.rows.push_back(good[good.size() / 2].second);
    return {};
}

}  // namespace

Result<HeldRecording> read_held(const Setup& setup, const Take& take, double row_s) {
    std::set<int> numbers;
    for (const std::size_t input : inputs_of(setup)) numbers.insert(setup.bench->inputs[input].channel);
    const std::vector<int> channels(numbers.begin(), numbers.end());
    if (const auto enough = check_channels(take, channels); !enough)
        return tl::unexpected<capture::Fault>(enough.error());
    auto file = capture::RecordingReader::open(take.recording);
    if (!file) return tl::unexpected<capture::Fault>(file.error());
    Reader reader{.setup = setup,
                  .take = take,
                  .channels = channels,
                  .file = std::move(*file),
                  .rate_hz = take.recording.rate_hz,
                  .frequency_hz = field_number(*setup.test, "frequency_hz")};
    HeldRecording held;
    held.loads.resize(setup.test->loads.size());
    const auto place_of = [&](std::size_t input) {
        return static_cast<std::size_t>(
            std::lower_bound(channels.begin(), channels.end(), setup.bench->inputs[input].channel) -
            channels.begin());
    };
    for (const std::size_t index : setup.test->loads) {
        const capture::Load& load = setup.bench->loads[index];
        reader.ends.push_back({place_of(load.plus), place_of(load.minus.value_or(load.plus)), &load});
    }
    if (auto read = read_blocks(reader, held); !read) return tl::unexpected<capture::Fault>(read.error());

    std::size_t start = 0;
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        const double least_v =
            least_share_of_scale * setup.bench->inputs[reader.ends[l].load->plus].volts_per_unit();
        const auto found = analysis::steady_from(held.loads[l].block_levels, least_v);
        if (!found) return tl::unexpected<capture::Fault>(no_tone(take, reader.ends[l].load->name));
        start = l == 0 ? *found : std::min(start, *found);
    }
    held.start_s = static_cast<double>(start) * held_block_s;
    const double end_s = take.recording.duration_s();
    double sum = 0.0;
    std::size_t count = 0;
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        auto& levels = held.loads[l].block_levels;
        levels.erase(levels.begin(), levels.begin() + static_cast<std::ptrdiff_t>(start));
        double frequency_hz = reader.frequency_hz;
        for (double from_s = held.start_s; from_s + window_s < end_s; from_s += row_s) {
            const std::size_t before = held.loads[l].rows.size();
            if (auto read = read_row(reader, held, l, from_s, row_s, frequency_hz); !read)
                return tl::unexpected<capture::Fault>(read.error());
            if (held.loads[l].rows.size() == before) continue;
            sum += reader.frequency_hz / frequency_hz - 1.0;
            ++count;
        }
        if (held.loads[l].rows.empty())
            return tl::unexpected<capture::Fault>(no_tone(take, reader.ends[l].load->name));
    }
    held.clock_ppm = 1e6 * sum / static_cast<double>(count);
    // Minutes are the player's: the recorder counts too many or too few seconds.
    for (HeldLoad& load : held.loads) {
        for (analysis::HeldRow& row : load.rows) row.minutes /= 1.0 + 1e-6 * held.clock_ppm;
    }
    return held;
}

}  // namespace assay::cli
