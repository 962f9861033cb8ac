#include "cli/commands/calibrate/calibrating.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/signal/harmonic_fit.h"
#include "capture/full_scale.h"
#include "cli/commands/cautions.h"
#include "cli/files/bench/bench_file.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr std::size_t pieces = 4;
constexpr double settle_s = 0.7;
constexpr double least_rms = 3e-5;
constexpr double confirm_above_dbfs = -20.0;

/// Mean and relative standard deviation of the mean.
std::pair<std::complex<double>, double> mean_of(const std::vector<std::complex<double>>& values) {
    std::complex<double> mean = 0.0;
    for (const auto& value : values) mean += value / static_cast<double>(values.size());
    double square = 0.0;
    for (const auto& value : values) square += std::norm(value - mean);
    const double count = static_cast<double>(values.size());
    return {mean, std::sqrt(square / (count - 1.0) / count) / std::max(std::abs(mean), 1e-300)};
}

}  // namespace

double scale_doubt(const capture::Input& input) {
    double square = 0.0;
    for (const capture::RelativeDoubt& doubt : input.scale_doubts) square += doubt.relative * doubt.relative;
    return std::sqrt(square);
}

Result<std::unique_ptr<CalibrationBench>> CalibrationBench::open(const CalibrateOptions& options,
                                                                 const Manner& manner, UnitKind kind) {
    auto bench = read_bench(options.bench);
    if (!bench) return tl::unexpected<capture::Fault>(bench.error());
    auto questions = Questions::open(options.answers);
    if (!questions) return tl::unexpected<capture::Fault>(questions.error());
    if (bench->source == capture::Source::simulated) {
        return capture::fail(FaultKind::bad_input_file,
                             options.bench.string() + ": source: a simulated bench needs no calibration",
                             "set source = \"device\" and name the sound card");
    }
    auto choice = choose_sound(*bench, options.bench.string(), true);
    if (!choice) return tl::unexpected<capture::Fault>(choice.error());
    std::unique_ptr<CalibrationBench> calibration(
        new CalibrationBench(options, std::move(*bench), std::move(*questions), std::move(*choice), manner));
    say(manner, cautions_text(kind));
    if (options.level_dbfs <= confirm_above_dbfs || options.yes) return calibration;
    const auto yes = calibration->questions_.yes(
        {"proceed", fmt::format("Play {:.4g} Hz at {:.1f} dBFS?", options.frequency_hz, options.level_dbfs),
         ""});
    if (!yes) return tl::unexpected<capture::Fault>(yes.error());
    if (!*yes) return capture::fail(FaultKind::stopped, "stopped by hand: nothing was played");
    return calibration;
}

Result<void> CalibrationBench::sound(const std::vector<std::size_t>& outputs) {
    for (const std::size_t output : outputs) {
        const double limit = bench_.outputs[output].limit_dbfs();
        if (options_.level_dbfs <= limit + 1e-9) continue;
        return capture::fail(
            FaultKind::bad_arguments,
            fmt::format("--level {:.2f} dBFS is above the {:.2f} dBFS that output \"{}\" allows",
                        options_.level_dbfs, limit, bench_.outputs[output].name),
            "lower it, or raise the output's maximum if what it feeds bears it");
    }
    std::string names;
    for (const std::size_t output : outputs)
        names += fmt::format("{}\"{}\"", names.empty() ? "" : " and ", bench_.outputs[output].name);
    say(manner_,
        fmt::format("Playing {:.6g} Hz at {:.1f} dBFS from {} until this reading is done; Ctrl-C stops it.",
                    options_.frequency_hz, options_.level_dbfs, names));
    running_.reset();
    auto running =
        capture::BenchSound::open(bench_, choice_.library, choice_.devices,
                                  capture::SteadySound{options_.frequency_hz, options_.level_dbfs, outputs});
    if (!running) return tl::unexpected<capture::Fault>(running.error());
    running_ = std::move(*running);
    return {};
}

Result<ToneReading> CalibrationBench::read(const std::vector<std::size_t>& inputs) {
    const double rate = bench_.sample_rate_hz;
    const auto width = static_cast<std::size_t>(running_->channels());
    const auto frames = static_cast<std::size_t>(steady_piece_s * rate);
    std::vector<float> block(frames * width);
    // What came while somebody read a meter is old.
    const auto skip = static_cast<std::size_t>(settle_s / steady_piece_s) +
                      static_cast<std::size_t>(running_->behind()) / frames + 1;
    std::vector<std::vector<std::complex<double>>> rms(inputs.size());
    std::vector<std::vector<std::complex<double>>> ratio(inputs.size());
    ToneReading reading;
    for (std::size_t k = 0; k < skip + pieces; ++k) {
        const auto more = running_->next(block, stop_requested());
        if (!more) return tl::unexpected<capture::Fault>(more.error());
        if (!*more) return capture::fail(FaultKind::stopped, "stopped by hand");
        if (k < skip) continue;
        std::complex<double> first = 0.0;
        for (std::size_t i = 0; i < inputs.size(); ++i) {
            const auto channel = static_cast<std::size_t>(bench_.inputs[inputs[i]].channel - 1);
            std::vector<double> samples(frames);
            for (std::size_t n = 0; n < frames; ++n) {
                samples[n] = static_cast<double>(block[n * width + channel]);
                reading.peak = std::max(reading.peak, std::abs(samples[n]));
            }
            const int harmonics = std::clamp(static_cast<int>(20000.0 / options_.frequency_hz), 1, 20);
            const auto fit =
                analysis::fit_harmonics(samples, rate, options_.frequency_hz, {.harmonics = harmonics});
            double square = 0.0;
            for (const auto& phasor : fit.phasors) square += std::norm(phasor) / 2.0;
            rms[i].emplace_back(std::sqrt(square));
            if (i == 0) first = fit.phasors[0];
            ratio[i].push_back(fit.phasors[0] / first);
            reading.frequency_hz = fit.frequency_hz;
        }
    }
    if (reading.peak >= capture::full_scale) {
        return capture::fail(FaultKind::untrusted_capture, "input overload: samples at full scale",
                             "lower --level or the unit's gain");
    }
    for (std::size_t i = 0; i < inputs.size(); ++i) {
        const auto [level, level_scatter] = mean_of(rms[i]);
        const auto [share, share_scatter] = mean_of(ratio[i]);
        const std::string& name = bench_.inputs[inputs[i]].name;
        if (!(level.real() > least_rms) ||
            std::abs(reading.frequency_hz / options_.frequency_hz - 1.0) > 0.01) {
            return capture::fail(FaultKind::untrusted_capture,
                                 fmt::format("input \"{}\" does not hear the tone", name),
                                 "look at leads, switches and channel numbers, or raise --level");
        }
        if (level_scatter > repeatable) {
            return capture::fail(
                FaultKind::untrusted_capture,
                fmt::format("the tone's level at input \"{}\" does not repeat: it moves by {:.2f} %", name,
                            100.0 * level_scatter),
                "let everything warm up, look for loose leads, then try again");
        }
        reading.rms.push_back(level.real());
        reading.ratio.push_back(share);
        reading.ratio_scatter.push_back(share_scatter);
    }
    return reading;
}

Result<double> CalibrationBench::meter_volts(const std::string& where) {
    return questions_.number({"meter_volts", fmt::format("Volts AC by meter {}", where), ""}, 1e-6, 1e4);
}

Result<void> CalibrationBench::write(const std::string& kind, const std::string& name,
                                     const BenchEdits& edits) {
    return write_bench_edits(options_.bench, kind, name, edits);
}

}  // namespace assay::cli
