#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/signal/harmonic_fit.h"
#include "analysis/units.h"
#include "capture/raw_checks.h"
#include "cli/commands/calibrate/bench_change.h"
#include "cli/commands/calibrate/calibrating.h"
#include "cli/commands/commands.h"
#include "cli/files/bench/bench_file.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double steady_db = 0.1;     // pieces that belong to the steady part agree within this
constexpr double least_level = 1e-3;  // amplitude re full scale

struct SteadyTone {
    double amplitude = 0.0;  // peak, re full scale, of the RMS of the whole wave
    double frequency_hz = 0.0;
    double scatter = 0.0;  // relative, over the pieces
    int pieces = 0;
};

Result<SteadyTone> steady_tone_of(const capture::Recording& recording, int channel) {
    auto reader = capture::RecordingReader::open(recording);
    if (!reader) return tl::unexpected<capture::Fault>(reader.error());
    const int channels[] = {channel};
    const auto piece = static_cast<std::int64_t>(steady_piece_s * recording.rate_hz);
    std::vector<std::pair<double, double>> pieces;  // amplitude, frequency
    for (std::int64_t first = 0; first + piece <= recording.frames; first += piece) {
        const auto samples = reader->read(channels, first, piece);
        if (!samples) return tl::unexpected<capture::Fault>(samples.error());
        std::vector<double> record((*samples)[0].begin(), (*samples)[0].end());
        const double guess = analysis::strongest_line_hz(record, recording.rate_hz, 10.0, 20000.0);
        const int harmonics = std::clamp(static_cast<int>(20000.0 / guess), 1, 20);
        const auto fit = analysis::fit_harmonics(record, recording.rate_hz, guess, {.harmonics = harmonics});
        double square = 0.0;
        for (const auto& phasor : fit.phasors) square += std::norm(phasor);
        if (std::isfinite(square)) pieces.emplace_back(std::sqrt(square), fit.frequency_hz);
    }
    // The steady part is the loudest level that several pieces share: a fade or a knock is left out.
    std::sort(pieces.begin(), pieces.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
    for (std::size_t from = 0; from + 2 <= pieces.size(); ++from) {
        std::size_t to = from;
        while (to < pieces.size() &&
               analysis::decibels(pieces[from].first / std::max(pieces[to].first, 1e-12)) < steady_db)
            ++to;
        if (to - from < 2) continue;
        SteadyTone tone;
        tone.pieces = static_cast<int>(to - from);
        for (std::size_t k = from; k < to; ++k) {
            tone.amplitude += pieces[k].first / tone.pieces;
            tone.frequency_hz += pieces[k].second / tone.pieces;
        }
        tone.scatter = (pieces[from].first - pieces[to - 1].first) / tone.amplitude;
        if (tone.amplitude < least_level) break;
        return tone;
    }
    return capture::fail(
        FaultKind::untrusted_capture,
        recording.path.filename().string() + ": no steady tone of a second or more above -60 dBFS",
        "record a steady tone, e.g. level-set.wav, for some seconds while you read the meter");
}

}  // namespace

int run_calibrate_input(const CalibrateInputOptions& options, const Manner& manner) {
    const auto bench = read_bench(options.bench);
    if (!bench) return report(bench.error());
    const auto index = find_part(bench->inputs, options.input, "input", "name one with --input");
    if (!index) return report(index.error());
    const capture::Input& input = bench->inputs[*index];
    const auto recording = capture::open_recording(options.recording);
    if (!recording) return report(recording.error());
    if (input.channel > recording->channels) {
        return report({FaultKind::untrusted_capture,
                       fmt::format("{}: the recording has {} channel{}, input \"{}\" is channel {}",
                                   options.recording.string(), recording->channels,
                                   recording->channels == 1 ? "" : "s", input.name, input.channel),
                       std::nullopt, "record that input"});
    }
    const int channels[] = {input.channel};
    const auto raw = capture::check_raw(*recording, channels);
    if (!raw) return report(raw.error());
    const capture::RawChannel& channel = raw->channels.front();
    if (channel.silent)
        return report({FaultKind::untrusted_capture,
                       options.recording.string() + ": no signal: nothing but zeros", std::nullopt,
                       "check the lead and the recorder's permission"});
    if (!channel.full_scale_positive.empty() || !channel.full_scale_negative.empty()) {
        return report({FaultKind::untrusted_capture,
                       options.recording.string() + ": input overload: samples at full scale", std::nullopt,
                       "lower the level and record again"});
    }
    const auto tone = steady_tone_of(*recording, input.channel);
    if (!tone) return report(tone.error());
    const auto meter = meter_that_read(*bench, options.meter, tone->frequency_hz, manner);
    if (!meter) return report(meter.error());
    if (tone->scatter > repeatable)
        say(manner, fmt::format("note: the tone's level wanders by {:.2f} %; let it warm up and read the "
                                "meter at a steady moment",
                                100.0 * tone->scatter));

    // Meter volts are at the probe tip; the scale is kept at the card's terminal, so the divider is taken
    // out.
    const double scale = options.meter_volts * std::numbers::sqrt2 / tone->amplitude / input.attenuation;
    BenchEdits edits{
        {"volts_at_full_scale", fmt::format("{:.6g}", scale)},
        {"calibrated_at_hz", fmt::format("{:.6g}", std::round(tone->frequency_hz * 100.0) / 100.0)},
        {"calibrated_at_volts", fmt::format("{:.6g}", options.meter_volts)}};
    add_meter(*meter, edits);
    if (const auto written = write_bench_edits(options.bench, "input", input.name, edits); !written)
        return report(written.error());
    remark_on_change(input, scale, manner);
    if (manner.json) {
        print_result(
            fmt::format("{{\"input\": {}, \"volts_at_full_scale\": {:.9g}, \"calibrated_at_hz\": {:.6f}, "
                        "\"was\": {:.9g}}}\n",
                        json_text(input.name), scale, tone->frequency_hz, input.volts_at_full_scale));
    } else {
        print_text(
            fmt::format("input \"{}\": {:.5g} V at full scale at the card's terminal (was {:.5g} V), {:.5g} "
                        "V at the probe tip; found at {:.1f} Hz over {:.1f} s\n",
                        input.name, scale, input.volts_at_full_scale, scale * input.attenuation,
                        tone->frequency_hz, tone->pieces * steady_piece_s));
    }
    return exit_done;
}

}  // namespace assay::cli
