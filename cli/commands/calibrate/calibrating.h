// What the live calibrations share: a bench that plays a steady tone while a person reads a meter or moves a
// lead, readings of it that must repeat, and the change of the bench file.
#pragma once

#include <complex>
#include <memory>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/device/bench_sound.h"
#include "cli/commands/calibrate/bench_change.h"
#include "cli/commands/commands.h"
#include "cli/commands/live/sound_choice.h"
#include "cli/commands/terminal/questions.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// A steady tone is read in pieces, which must agree within this share of its level.
inline constexpr double steady_piece_s = 0.5;
inline constexpr double repeatable = 0.003;

/// The tone at several inputs, over pieces of half a second.
struct ToneReading {
    std::vector<double> rms{};                  // sample values, of the whole wave without DC; one an input
    std::vector<std::complex<double>> ratio{};  // fundamental re the first input's
    std::vector<double> ratio_scatter{};        // relative standard deviation of the mean
    double frequency_hz = 0.0;
    double peak = 0.0;  // highest sample of any of these inputs
};

class CalibrationBench {
  public:
    /// Reads the bench, finds devices and whoever answers, tells the cautions (of what stands behind the
    /// tone), asks before a tone above -20 dBFS. Nothing sounds.
    [[nodiscard]] static capture::Result<std::unique_ptr<CalibrationBench>> open(
        const CalibrateOptions& options, const Manner& manner, UnitKind kind = UnitKind::amplifier);
    const capture::Bench& bench() const { return bench_; }
    Questions& questions() { return questions_; }

    /// The tone of the options on these outputs (indices), until `quiet`.
    [[nodiscard]] capture::Result<void> sound(const std::vector<std::size_t>& outputs);
    void quiet() { running_.reset(); }
    /// Faults: no tone, overload, a level that does not repeat within 0.3 %.
    [[nodiscard]] capture::Result<ToneReading> read(const std::vector<std::size_t>& inputs);
    /// Volts that a person reads meanwhile.
    [[nodiscard]] capture::Result<double> meter_volts(const std::string& where);

    /// Writes the bench file, if it still reads well with the edits.
    [[nodiscard]] capture::Result<void> write(const std::string& kind, const std::string& name,
                                              const BenchEdits& edits);

  private:
    CalibrationBench(const CalibrateOptions& options, capture::Bench bench, Questions questions,
                     SoundChoice choice, const Manner& manner)
        : options_(options),
          manner_(manner),
          bench_(std::move(bench)),
          questions_(std::move(questions)),
          choice_(std::move(choice)) {}

    CalibrateOptions options_;
    Manner manner_;
    capture::Bench bench_;
    Questions questions_;
    SoundChoice choice_;
    std::unique_ptr<capture::BenchSound> running_{};
};

/// Relative standard uncertainty of an input's whole scale.
double scale_doubt(const capture::Input& input);

}  // namespace assay::cli
