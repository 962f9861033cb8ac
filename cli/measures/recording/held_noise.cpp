#include <algorithm>
#include <cmath>
#include <numeric>

#include "analysis/amplifier/held_output.h"
#include "analysis/signal/median.h"
#include "analysis/signal/repeat_lag.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/held_reader.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double stretch_s = 0.25;
constexpr double clocks = 600e-6;       // furthest that two clocks are apart, with a little room
constexpr double least_likeness = 0.6;  // of a period to the next: less is another signal, or much noise
constexpr std::size_t clock_places = 15;
constexpr double uneven = 0.02;  // of a row's middle period: a gap of the player's, a lost block

struct PeriodReading {
    double minutes = 0.0;
    double rms_v = 0.0;
    double crest = 0.0;
};

PeriodReading read_period(const std::vector<double>& volts) {
    const double count = static_cast<double>(volts.size());
    const double mean = std::accumulate(volts.begin(), volts.end(), 0.0) / count;
    double square = 0.0;
    double peak = 0.0;
    for (const double value : volts) {
        square += (value - mean) * (value - mean);
        peak = std::max(peak, std::abs(value - mean));
    }
    const double rms_v = std::sqrt(square / count);
    return {0.0, rms_v, rms_v > 0.0 ? peak / rms_v : 0.0};
}

/// Recorder's seconds for each of the player's, from how far apart a stretch and its repeat lie; one value
/// for each place that could be read.
Result<std::vector<double>> clock_ratios(HeldReader& reader, std::size_t load, double start_s,
                                         double period_s) {
    std::vector<double> ratios;
    const double reach_s = clocks * period_s;
    const double room_s = reader.take.recording.duration_s() - start_s - period_s - stretch_s - 2.0 * reach_s;
    for (std::size_t k = 0; k < clock_places; ++k) {
        const double at_s = start_s + 1.0 + (room_s - 1.0) * static_cast<double>(k) / clock_places;
        const double again_s = at_s + period_s - reach_s;
        const auto stretch = held_stretch(reader, load, at_s, stretch_s);
        if (!stretch) return tl::unexpected<capture::Fault>(stretch.error());
        const auto within = held_stretch(reader, load, again_s, stretch_s + 2.0 * reach_s);
        if (!within) return tl::unexpected<capture::Fault>(within.error());
        const auto found = analysis::find_repeat(*stretch, *within);
        if (!found || found->likeness < least_likeness) continue;
        const double whole_start = std::round(again_s * reader.rate_hz) - std::round(at_s * reader.rate_hz);
        ratios.push_back((whole_start + found->frames) / reader.rate_hz / period_s);
    }
    return ratios;
}

/// The middle of a row's periods, and how far the others lie from it.
void take_row(std::vector<PeriodReading>& periods, HeldLoad& load) {
    if (periods.empty()) return;
    std::sort(periods.begin(), periods.end(),
              [](const PeriodReading& a, const PeriodReading& b) { return a.rms_v < b.rms_v; });
    const PeriodReading& middle = periods[periods.size() / 2];
    double spread = 0.0;
    double even = 0.0;
    for (const PeriodReading& period : periods) {
        if (std::abs(period.rms_v / middle.rms_v - 1.0) > uneven) {
            ++load.left_out;
            continue;
        }
        spread += std::pow(period.rms_v - middle.rms_v, 2.0);
        even += 1.0;
    }
    load.rows.push_back({.minutes = middle.minutes,
                         .total_v = middle.rms_v,
                         .doubt_v = std::sqrt(spread / even),
                         .thd = 0.0,
                         .crest = middle.crest});
}

/// Whether the output was there all the time: no second of quiet in it.
bool sounds_on(const std::vector<double>& levels, double gone_v, double from_s, double to_s) {
    constexpr std::size_t second = 4;  // blocks
    std::size_t quiet = 0;
    const auto first = static_cast<std::size_t>(std::max(0.0, from_s / held_block_s));
    for (std::size_t b = first; b < levels.size() && static_cast<double>(b) * held_block_s < to_s; ++b) {
        quiet = levels[b] < gone_v ? quiet + 1 : 0;
        if (quiet == second) return false;
    }
    return true;
}

Result<void> read_rows(HeldReader& reader, HeldRecording& held, std::size_t l, double period_s,
                       double row_s) {
    HeldLoad& load = held.loads[l];
    const double gone_v =
        0.25 * analysis::median(
                   {load.block_levels.begin(),
                    load.block_levels.begin() +
                        static_cast<std::ptrdiff_t>(std::min<std::size_t>(load.block_levels.size(), 40))});
    std::vector<PeriodReading> periods;
    double row_end_s = held.start_s + row_s;
    // A period that reaches past the end of what was asked for holds some of the silence after it.
    const double asked_s = 60.0 * field_number(*reader.setup.test, "minutes") * (1.0 + 1e-6 * held.clock_ppm);
    const double end_s = held.start_s + asked_s;
    for (double from_s = held.start_s; from_s + period_s <= end_s; from_s += period_s) {
        const auto volts = held_stretch(reader, l, from_s, period_s);
        if (!volts) return tl::unexpected<capture::Fault>(volts.error());
        if (volts->empty()) break;
        if (from_s >= row_end_s) {
            take_row(periods, load);
            periods.clear();
            row_end_s += row_s;
        }
        const double since_s = from_s - held.start_s;
        if (!sounds_on(load.block_levels, gone_v, since_s, since_s + period_s)) continue;
        PeriodReading reading = read_period(*volts);
        reading.minutes = (since_s + 0.5 * period_s) / 60.0;
        periods.push_back(reading);
    }
    take_row(periods, load);
    return {};
}

}  // namespace

Result<void> read_noise_rows(HeldReader& reader, HeldRecording& held, double period_s, double row_s) {
    std::size_t start = 0;
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        const auto found = analysis::noise_from(held.loads[l].block_levels, held_least_v(reader, l));
        if (!found) return tl::unexpected<capture::Fault>(held_signal_missing(reader, l, true));
        start = l == 0 ? *found : std::min(start, *found);
    }
    held.start_s = static_cast<double>(start) * held_block_s;
    held.blocks_from_s = held.start_s;
    double ratio = 1.0;
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        auto& levels = held.loads[l].block_levels;
        levels.erase(levels.begin(), levels.begin() + static_cast<std::ptrdiff_t>(start));
        auto ratios = clock_ratios(reader, l, held.start_s, period_s);
        if (!ratios) return tl::unexpected<capture::Fault>(ratios.error());
        if (ratios->empty()) return tl::unexpected<capture::Fault>(held_signal_missing(reader, l, true));
        if (l == 0) ratio = analysis::median(*ratios);
    }
    held.clock_ppm = 1e6 * (ratio - 1.0);
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        if (auto read = read_rows(reader, held, l, ratio * period_s, row_s); !read) return read;
        if (held.loads[l].rows.empty())
            return tl::unexpected<capture::Fault>(held_signal_missing(reader, l, true));
    }
    return {};
}

}  // namespace assay::cli
