#include "cli/measures/recording/held_recording.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "analysis/amplifier/loop_seams.h"
#include "analysis/amplifier/steady_step.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/held_reader.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double window_s = 0.5;
constexpr std::array<double, 3> window_places{0.2, 0.5, 0.8};  // within a row
constexpr double whole_block = 0.985;            // of its row's loudest block: a lower one has a gap in it
constexpr double least_share_of_loudest = 0.25;  // of the first block
constexpr double least_purity = 0.5;             // a fit that leaves more than half is of another signal

/// A row of the log while it is read.
struct RowReader {
    HeldReader& reader;
    HeldRecording& held;
    std::size_t l;
    const std::vector<double>& seams_s;  // of the recording
    double frequency_hz;                 // as the last row showed it

    std::size_t block_at(double seconds) const {
        return std::min(static_cast<std::size_t>(std::max(0.0, seconds - held.blocks_from_s) / held_block_s),
                        held.loads[l].block_levels.size() - 1);
    }

    bool has_seam(double from_s, double to_s) const {
        const auto next = std::lower_bound(seams_s.begin(), seams_s.end(), from_s - 2.0 * held_block_s);
        return next != seams_s.end() && *next <= to_s + held_block_s;
    }

    bool is_whole(double from_s, double to_s, double loudest) const {
        const auto& levels = held.loads[l].block_levels;
        for (std::size_t b = block_at(from_s); b <= block_at(to_s); ++b) {
            if (levels[b] < whole_block * loudest) return false;
        }
        return true;
    }

    /// A window into which the signal's own start or end falls is no fault.
    void leave_out(double from_s, double to_s) {
        HeldLoad& load = held.loads[l];
        if (from_s < held.start_s + held_block_s) return;
        const auto& levels = load.block_levels;
        const double least = least_share_of_loudest * levels.front();
        const auto loud = std::find_if(levels.rbegin(), levels.rend(), [&](double v) { return v >= least; });
        const double last_s =
            held.blocks_from_s + held_block_s * static_cast<double>(levels.rend() - loud - 1);
        if (to_s > last_s) return;
        ++(has_seam(from_s, to_s) ? load.at_seams : load.left_out);
    }

    /// The middle one of a row's windows that can be trusted.
    Result<void> read(double from_s, double row_s) {
        HeldLoad& load = held.loads[l];
        const auto begin = load.block_levels.begin();
        const double loudest =
            *std::max_element(begin + static_cast<std::ptrdiff_t>(block_at(from_s)),
                              begin + static_cast<std::ptrdiff_t>(block_at(from_s + row_s)) + 1);
        if (loudest < least_share_of_loudest * load.block_levels.front()) return {};  // the output is gone
        std::vector<std::pair<double, analysis::HeldRow>> good;
        for (const double place : window_places) {
            const double at_s = from_s + place * row_s - 0.5 * window_s;
            const auto volts = held_stretch(reader, l, at_s, window_s);
            if (!volts) return tl::unexpected<capture::Fault>(volts.error());
            if (volts->empty()) continue;
            if (!is_whole(at_s, at_s + window_s, loudest)) {
                leave_out(at_s, at_s + window_s);
                continue;
            }
            analysis::StepReading reading = analysis::read_step(
                *volts, reader.rate_hz,
                {.frequency_guess_hz = frequency_hz,
                 .nominal_hz = reader.frequency_hz,
                 .bandwidth_hz = field_number(*reader.setup.test, "distortion_bandwidth_hz"),
                 .high_pass_hz = 0.0});
            if (reading.disturbed || !(reading.fundamental_v > 0.0) ||
                reading.thd_plus_noise > least_purity) {
                leave_out(at_s, at_s + window_s);
                continue;
            }
            const capture::Load& ends = *reader.ends[l].load;
            if (!ends.minus) refer_to_scale(reader.setup.bench->inputs[ends.plus], reading);
            good.emplace_back(reading.frequency_hz,
                              analysis::HeldRow{.minutes = (at_s + 0.5 * window_s - held.start_s) / 60.0,
                                                .total_v = reading.total_v,
                                                .doubt_v = reading.fundamental_doubt_v,
                                                .thd = std::max(reading.thd, reading.thd_noise)});
        }
        if (good.empty()) return {};
        std::sort(good.begin(), good.end(),
                  [](const auto& a, const auto& b) { return a.second.total_v < b.second.total_v; });
        frequency_hz = good[good.size() / 2].first;
        load.rows.push_back(good[good.size() / 2].second);
        return {};
    }
};

/// What a fade of a raised cosine takes off the mean square, as a time: five eighths of it are missing.
double fade_lost_s(const capture::Tone& tone) {
    double fade_s = 0.0;
    for (const capture::Segment& segment : tone.segments)
        fade_s = std::max(fade_s, static_cast<double>(segment.fade_frames) / tone.rate_hz);
    return 0.625 * fade_s;
}

Result<void> find_start(const HeldReader& reader, HeldRecording& held) {
    std::size_t start = 0;
    std::size_t of_load = 0;
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        const auto found = analysis::steady_from(held.loads[l].block_levels, held_least_v(reader, l));
        if (!found) return tl::unexpected<capture::Fault>(held_signal_missing(reader, l, false));
        if (l > 0 && *found >= start) continue;
        start = *found;
        of_load = l;
    }
    held.blocks_from_s = static_cast<double>(start) * held_block_s;
    // A start told to the block would be late on average, and with it the moment at which the run ends: an
    // output that falls fastest at first would be said to have fallen too little.
    const double before = analysis::begun_before(held.loads[of_load].block_rms_v, start);
    held.start_s = held.blocks_from_s - before * held_block_s;
    if (start > 0) held.start_s -= fade_lost_s(reader.take.tone);
    for (HeldLoad& load : held.loads) {
        for (std::vector<double>* blocks : {&load.block_levels, &load.block_smooth_v, &load.block_rms_v})
            blocks->erase(blocks->begin(), blocks->begin() + static_cast<std::ptrdiff_t>(start));
    }
    return {};
}

/// Whether the tone is there again within two seconds of a dip: otherwise it is the end of it.
bool comes_back(const std::vector<double>& levels, double dip_s) {
    constexpr std::size_t blocks = 8;
    const auto dip = static_cast<std::size_t>(std::llround(dip_s / held_block_s));
    for (std::size_t b = dip + 1; b < std::min(levels.size(), dip + 1 + blocks); ++b) {
        if (levels[b] >= least_share_of_loudest * levels.front()) return true;
    }
    return false;
}

/// Seconds of the recording at which the file began again.
std::vector<double> find_seams(const HeldReader& reader, HeldRecording& held) {
    const double file_s = reader.take.tone.duration_s();
    const bool looped = 60.0 * field_number(*reader.setup.test, "minutes") > file_s + 1.0;
    std::vector<double> dips_s;
    for (const double at_s : held.loads.front().dips_s) {
        const double since_s = at_s - held.blocks_from_s;
        if (since_s <= held_block_s || !comes_back(held.loads.front().block_levels, since_s)) continue;
        if (dips_s.empty() || since_s - dips_s.back() > 2.0 * held_block_s) dips_s.push_back(since_s);
    }
    analysis::LoopSeams parted = analysis::part_dips(dips_s, looped ? file_s : 0.0);
    held.seams = parted.seams_s.size();
    held.seam_gap_s = parted.gap_s;
    for (double& seam_s : parted.seams_s) seam_s += held.blocks_from_s;
    return parted.seams_s;
}

Result<void> read_sine_rows(HeldReader& reader, HeldRecording& held, double row_s) {
    if (auto found = find_start(reader, held); !found) return found;
    const std::vector<double> seams_s = find_seams(reader, held);
    const double end_s = reader.take.recording.duration_s();
    double sum = 0.0;
    std::size_t count = 0;
    for (std::size_t l = 0; l < held.loads.size(); ++l) {
        RowReader row{reader, held, l, seams_s, reader.frequency_hz};
        for (double from_s = held.start_s; from_s + window_s < end_s; from_s += row_s) {
            const std::size_t before = held.loads[l].rows.size();
            if (auto read = row.read(from_s, row_s); !read) return read;
            if (held.loads[l].rows.size() == before) continue;
            sum += reader.frequency_hz / row.frequency_hz - 1.0;
            ++count;
        }
        if (held.loads[l].rows.empty())
            return tl::unexpected<capture::Fault>(held_signal_missing(reader, l, false));
    }
    held.clock_ppm = 1e6 * sum / static_cast<double>(count);
    held.seam_gap_s -= 1e-6 * held.clock_ppm * reader.take.tone.duration_s();
    return {};
}

}  // namespace

Result<HeldRecording> read_held(const Setup& setup, const Take& take, double row_s) {
    auto reader = open_held(setup, take);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    const capture::ShapedNoise* noise = nullptr;
    for (const capture::Segment& segment : take.tone.segments) {
        if (const auto* law = std::get_if<capture::ShapedNoise>(&segment.law)) noise = law;
    }
    if (noise == nullptr) reader->frequency_hz = field_number(*setup.test, "frequency_hz");
    HeldRecording held;
    held.loads.resize(setup.test->loads.size());
    if (auto read = read_held_blocks(*reader, held); !read)
        return tl::unexpected<capture::Fault>(read.error());
    auto rows = noise != nullptr ? read_noise_rows(*reader, held, noise->period_s, row_s)
                                 : read_sine_rows(*reader, held, row_s);
    if (!rows) return tl::unexpected<capture::Fault>(rows.error());
    // Minutes are the player's: the recorder counts too many or too few seconds.
    for (HeldLoad& load : held.loads) {
        for (analysis::HeldRow& row : load.rows) row.minutes /= 1.0 + 1e-6 * held.clock_ppm;
    }
    return held;
}

}  // namespace assay::cli
