#include "cli/measures/sweep/response_gain.h"

#include <cmath>
#include <numbers>

#include "analysis/units.h"

namespace assay::cli {

namespace {

const double delay_half_step = std::exp2(1.0 / 24.0);  // the slope is read over a twelfth of an octave
const double delay_narrow_step = std::exp2(1.0 / 960.0);

}  // namespace

std::complex<double> ResponseGain::at(double frequency_hz) const {
    if (reference != nullptr) return load->at(frequency_hz) / reference->at(frequency_hz);
    // The loopback went through the same input: its high-pass is in both.
    if (card != nullptr)
        return load->as_recorded(frequency_hz) / card->at(frequency_hz, load->plus_share) / divisor;
    return load->at(frequency_hz) / divisor;
}

double ResponseGain::delay_s_at(double frequency_hz) const {
    const auto turns = [&](double step) {
        return std::arg(at(frequency_hz * step) / at(frequency_hz / step)) / analysis::two_pi;
    };
    const auto width_hz = [&](double step) { return frequency_hz * (step - 1.0 / step); };
    // A unit with a computer in it may be late by many turns over a twelfth of an octave: a narrow look says
    // how many.
    const double about = turns(delay_narrow_step) * width_hz(delay_half_step) / width_hz(delay_narrow_step);
    const double within = turns(delay_half_step);
    return -(within + std::round(about - within)) / width_hz(delay_half_step);
}

double ResponseGain::delay_noise_s_at(double frequency_hz) const {
    return std::numbers::sqrt2 * noise_at(frequency_hz) /
           (analysis::two_pi * frequency_hz * (delay_half_step - 1.0 / delay_half_step));
}

double ResponseGain::card_doubt_db(double frequency_hz) const {
    return reference == nullptr && card != nullptr ? card->doubt_db(frequency_hz, load->plus_share) : 0.0;
}

double ResponseGain::between_db(double frequency_hz) const {
    return load->louder_part * load->louder_gain_db(frequency_hz) / std::numbers::sqrt3;
}

double ResponseGain::noise_at(double frequency_hz) const {
    const double own = load->relative_noise_at(frequency_hz);
    return reference != nullptr ? std::hypot(own, reference->relative_noise_at(frequency_hz)) : own;
}

}  // namespace assay::cli
