#include "cli/measures/sweep/response_reading.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/signal/harmonic_fit.h"
#include "analysis/units.h"
#include "capture/tone/response_tone.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/placing.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double pilot_settling_s = 0.1;
constexpr double sweep_guard_s = 0.03;

struct Pilot {
    double centre_s = 0.0;  // of the recording
    double phase_rad = 0.0;
    double amplitude_v = 0.0;
    double doubt_v = 0.0;
};

double seconds_of(const Take& take, const capture::Segment& segment) {
    return static_cast<double>(segment.frames) / take.tone.rate_hz;
}

class Reader {
  public:
    Reader(const Setup& setup, const Take& take, const PlacedTake& placed, std::size_t sweep)
        : setup_(&setup), take_(&take), placed_(placed), first_pilot_(steps_of_sweep * sweep) {}

    Result<ResponseReading> read() {
        const auto* law = second_pilot_ < placed_.steps.size()
                              ? std::get_if<capture::LogSweep>(&placed_.steps[sweep_step_].law)
                              : nullptr;
        if (law == nullptr)
            return capture::fail(FaultKind::internal, "the take's tone is no response tone", "");
        ratio_ = placed_.placement.clock_ratio;
        ResponseReading result;
        result.start_s = placed_.placement.start_s;
        result.level_dbfs = placed_.steps[sweep_step_].level_dbfs;
        if (auto done = read_pilots(result); !done) return tl::unexpected<capture::Fault>(done.error());
        result.clock_ppm = 1e6 * (ratio_ - 1.0);
        const double rate_hz = placed_.rate_hz * ratio_;
        result.start_hz = field_number(*setup_->test, "start_hz");
        result.stop_hz = std::min(response_stop_hz(*setup_), highest_share_of_rate * placed_.rate_hz);
        plan_sweep(*law, result);

        const double sweep_s = seconds_of(*take_, placed_.steps[sweep_step_]);
        const double sweep_from_s = placed_.placement.step_starts_s[sweep_step_];
        from_s_ = sweep_from_s - lead_s;
        to_s_ = sweep_from_s + ratio_ * (sweep_s + capture::response_decay_s - sweep_guard_s);
        const double start_s = (sweep_from_s - first_sample_s(placed_, from_s_)) / ratio_;
        for (const std::size_t index : setup_->test->loads) {
            const capture::Load& load = setup_->bench->loads[index];
            if (const auto trouble =
                    trouble_at(*setup_, placed_, load, sweep_step_, sweep_from_s, to_s_, false))
                return tl::unexpected<capture::Fault>(fault_of(*take_, load, *trouble));
            ChannelResponse channel;
            channel.sweep = analysis::respond(load_volts(*setup_, placed_, load, from_s_, to_s_), rate_hz,
                                              start_s, plan_);
            channel.high_pass_hz = setup_->bench->inputs[load.plus].high_pass_hz.value_or(0.0);
            channel.start_hz = result.start_hz;
            channel.plus_share = plus_share_of(*setup_, placed_, load, from_s_, to_s_);
            result.loads.push_back(std::move(channel));
            result.plus_peak_dbfs.push_back(peak_dbfs(setup_->bench->inputs[load.plus]));
        }
        if (setup_->test->reference) {
            const capture::Input& input = setup_->bench->inputs[*setup_->test->reference];
            if (const auto trouble = trouble_at(placed_, input, sweep_step_, sweep_from_s, to_s_, false)) {
                return capture::fail(FaultKind::untrusted_capture,
                                     fmt::format("{}: reference: {}", file_of(*take_), trouble->words),
                                     "mend the reference input's level or lead, then record again");
            }
            ChannelResponse channel;
            channel.sweep =
                analysis::respond(input_volts(placed_, input, from_s_, to_s_), rate_hz, start_s, plan_);
            channel.high_pass_hz = input.high_pass_hz.value_or(0.0);
            channel.start_hz = result.start_hz;
            result.reference = std::move(channel);
        }
        return result;
    }

    std::optional<double> steady_v(const capture::Load& load) const {
        if (second_pilot_ >= placed_.steps.size() || pilot_trouble(first_pilot_, load)) return std::nullopt;
        const Pilot pilot = read_pilot(first_pilot_, load);
        if (!(pilot.amplitude_v > signal_to_doubt * pilot.doubt_v)) return std::nullopt;
        return pilot.amplitude_v / std::numbers::sqrt2;
    }

  private:
    static constexpr double lead_s = 0.05;

    std::optional<StepTrouble> pilot_trouble(std::size_t step, const capture::Load& load) const {
        return trouble_at(*setup_, placed_, load, step, placed_.at_s(step, 0.0),
                          placed_.at_s(step, seconds_of(*take_, placed_.steps[step])), true);
    }

    Pilot read_pilot(std::size_t step, const capture::Load& load) const {
        const double from_s = placed_.at_s(step, pilot_settling_s);
        const double to_s = placed_.at_s(step, seconds_of(*take_, placed_.steps[step]) - sweep_guard_s);
        const std::vector<double> volts = load_volts(*setup_, placed_, load, from_s, to_s);
        if (volts.size() < 64) return {};
        const analysis::HarmonicFit fit = analysis::fit_harmonics(
            volts, placed_.rate_hz, capture::response_pilot_hz / ratio_, {.harmonics = 3});
        const auto count = static_cast<double>(volts.size());
        return {first_sample_s(placed_, from_s) + 0.5 * (count - 1.0) / placed_.rate_hz,
                std::arg(fit.phasors.front()), fit.amplitude(), fit.sigma * std::sqrt(2.0 / count)};
    }

    /// Levels of both steady tones, and the clocks' ratio from their phases at the first load that hears
    /// them.
    Result<void> read_pilots(ResponseReading& result) {
        bool timed = false;
        for (const std::size_t index : setup_->test->loads) {
            const capture::Load& load = setup_->bench->loads[index];
            for (const std::size_t step : {first_pilot_, second_pilot_}) {
                if (const auto trouble = pilot_trouble(step, load))
                    return tl::unexpected<capture::Fault>(fault_of(*take_, load, *trouble));
            }
            const Pilot before = read_pilot(first_pilot_, load);
            const Pilot after = read_pilot(second_pilot_, load);
            if (!(before.amplitude_v > signal_to_doubt * before.doubt_v) ||
                !(after.amplitude_v > signal_to_doubt * after.doubt_v)) {
                return capture::fail(FaultKind::untrusted_capture,
                                     fmt::format("{}: no signal at {}", file_of(*take_), load.in_words()),
                                     "check this load's probe and lead, the amplifier's channel and the "
                                     "channel numbers of the bench file");
            }
            result.pilot_v.push_back(before.amplitude_v / std::numbers::sqrt2);
            result.level_change.push_back(after.amplitude_v / before.amplitude_v - 1.0);
            if (timed) continue;
            timed = true;
            const auto tone_s = [&](std::size_t step) {
                std::size_t seen = 0;
                for (const capture::Segment& segment : take_->tone.segments) {
                    if (segment.role != capture::SegmentRole::step || seen++ != step) continue;
                    return static_cast<double>(segment.first_frame) / take_->tone.rate_hz;
                }
                return 0.0;
            };
            // Both carry sin(2 pi f t) from their own start; whole turns between them by the marks.
            const double apart_s = after.centre_s - before.centre_s;
            const double turns = (after.phase_rad - before.phase_rad) / analysis::two_pi;
            const double starts_apart_s = tone_s(second_pilot_) - tone_s(first_pilot_);
            const double by_marks = (apart_s / ratio_ - starts_apart_s) * capture::response_pilot_hz;
            const double whole = std::round(by_marks - turns);
            ratio_ = apart_s / (starts_apart_s + (turns + whole) / capture::response_pilot_hz);
        }
        return {};
    }

    void plan_sweep(const capture::LogSweep& law, const ResponseReading& result) {
        const capture::Segment& segment = placed_.steps[sweep_step_];
        const double tone_rate_hz = take_->tone.rate_hz;
        plan_.duration_s = seconds_of(*take_, segment);
        plan_.at = [segment, tone_rate_hz](double seconds) {
            return capture::value_at(segment, tone_rate_hz, seconds * tone_rate_hz);
        };
        plan_.growth_s = law.growth_s;
        plan_.from_hz = law.start_hz;
        plan_.to_hz = law.start_hz * std::exp(plan_.duration_s / law.growth_s);
        plan_.start_hz = result.start_hz;
        plan_.stop_hz = result.stop_hz;
    }

    double peak_dbfs(const capture::Input& input) const {
        double peak = 1e-10;
        for (const double volts : input_volts(placed_, input, from_s_, to_s_))
            peak = std::max(peak, std::abs(volts / input.volts_per_unit()));
        return analysis::decibels(peak);
    }

    const Setup* setup_;
    const Take* take_;
    const PlacedTake& placed_;
    std::size_t first_pilot_ = 0;
    std::size_t sweep_step_ = first_pilot_ + 1;
    std::size_t second_pilot_ = first_pilot_ + 2;
    analysis::SweepPlan plan_{};
    double ratio_ = 1.0;
    double from_s_ = 0.0;
    double to_s_ = 0.0;
};

/// What takes an input's high-pass of first order out.
std::complex<double> without_high_pass(double corner_hz, double frequency_hz) {
    return {1.0, corner_hz > 0.0 ? -corner_hz / frequency_hz : 0.0};
}

/// Of the sweep itself, whatever a louder one says.
double own_volts(const ChannelResponse& channel, double frequency_hz) {
    return std::abs(channel.sweep.at(frequency_hz, 1) *
                    without_high_pass(channel.high_pass_hz, frequency_hz));
}

}  // namespace

std::complex<double> ChannelResponse::as_recorded(double frequency_hz) const {
    const std::complex<double> measured = sweep.at(frequency_hz, 1);
    if (!louder) return measured;
    return measured * std::pow(louder->as_recorded(frequency_hz) / measured, louder_part);
}

std::complex<double> ChannelResponse::at(double frequency_hz) const {
    const std::complex<double> measured = as_recorded(frequency_hz);
    return measured * without_high_pass(high_pass_hz, frequency_hz);
}

double ChannelResponse::louder_gain_db(double frequency_hz) const {
    if (!louder) return 0.0;
    return analysis::decibels(std::abs(louder->as_recorded(frequency_hz) / sweep.at(frequency_hz, 1)));
}

std::optional<double> ChannelResponse::harmonic_at(double frequency_hz, int order) const {
    const double output_hz = frequency_hz * order;
    if (output_hz > highest_share_of_rate * sweep.rate_hz || output_hz > sweep.to_hz / 1.05)
        return std::nullopt;
    std::complex<double> harmonic = sweep.at(output_hz, order);
    harmonic *= without_high_pass(high_pass_hz, output_hz);
    const double ratio = std::abs(harmonic) / own_volts(*this, frequency_hz);
    if (!louder) return ratio;
    const auto above = louder->harmonic_at(frequency_hz, order);
    if (!above || !(ratio > 0.0)) return std::nullopt;
    return ratio * std::pow(*above / ratio, louder_part);
}

double ChannelResponse::harmonic_noise_at(double frequency_hz, int order) const {
    // Real and imaginary part each carry the noise.
    const double own =
        std::numbers::sqrt2 * sweep.noise_at(frequency_hz * order, order) / own_volts(*this, frequency_hz);
    return louder ? std::max(own, louder->harmonic_noise_at(frequency_hz, order)) : own;
}

double ChannelResponse::relative_noise_at(double frequency_hz) const {
    const double own =
        sweep.noise_at(frequency_hz, 1) / std::max(std::abs(sweep.at(frequency_hz, 1)), 1e-300);
    if (!louder) return own;
    return std::hypot((1.0 - louder_part) * own, louder_part * louder->relative_noise_at(frequency_hz));
}

double ChannelResponse::method_db(double frequency_hz) const {
    // What the windows cut off of the response in time: they hold so many seconds, so it goes by the
    // frequency and not by its ratio to the start. Where the band begins it is two to three times as much.
    // Found against filters of first order without noise, starts of 2.5 to 40 Hz; those of second
    // order give less.
    constexpr double at_10hz_db = 0.0075;
    constexpr double steepness = 4.5;
    constexpr double most_db = 0.2;  // at 2.5 Hz
    // Windows change their lengths at 150 and 1500 Hz: 0.00005 dB was found there, 0.0002 at most.
    constexpr double everywhere_db = 0.0001;
    const double above_start = (frequency_hz / start_hz - 1.06) / 0.08;
    const double cut_off_db = at_10hz_db * std::pow(10.0 / frequency_hz, steepness) *
                              (1.0 + 1.7 * std::exp(-above_start * above_start));
    return std::hypot(everywhere_db, cut_off_db * most_db / (cut_off_db + most_db));
}

double response_stop_hz(const Setup& setup) {
    constexpr double highest_default_hz = 40000.0;
    if (const auto stop = setup.test->number("stop_hz")) return *stop;
    return std::min(highest_share_of_rate * setup.tone_rate_hz, highest_default_hz);
}

Result<ResponseReading> read_response(const Setup& setup, const Take& take) {
    auto placed = place_take(setup, take);
    if (!placed) return tl::unexpected<capture::Fault>(placed.error());
    return read_response(setup, take, *placed, 0);
}

Result<ResponseReading> read_response(const Setup& setup, const Take& take, const PlacedTake& placed,
                                      std::size_t sweep) {
    return Reader(setup, take, placed, sweep).read();
}

std::optional<double> steady_v(const Setup& setup, const Take& take, const PlacedTake& placed,
                               std::size_t sweep, const capture::Load& load) {
    const auto volts = Reader(setup, take, placed, sweep).steady_v(load);
    if (!volts) return std::nullopt;
    return *volts * scale_correction(setup.bench->inputs[load.plus], capture::response_pilot_hz);
}

}  // namespace assay::cli
