#include "capture/simulated/amplifier.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "capture/units.h"

namespace assay::capture {

namespace {

/// The part of the way that a first-order average goes in one sample.
double average_step(double time_constant_s, double rate_hz) {
    return -std::expm1(-1.0 / (time_constant_s * rate_hz));
}

/// Follows x up to `limit`, by a parabola within `softness` of it.
double below(double x, double limit, double softness) {
    const double knee = softness * limit;
    if (x <= limit - knee) return x;
    if (x >= limit + knee) return limit;
    const double beyond = x - (limit - knee);
    return x - beyond * beyond / (4.0 * knee);
}

}  // namespace

AmplifierModel::AmplifierModel(const SimulatedAmplifier& settings, double rate_hz) : settings_(settings) {
    const double turn = two_pi / rate_hz;
    low_step_ = average_step(1.0 / (two_pi * settings.low_cut_hz), rate_hz);
    // Bilinear, so that -3 dB stands exactly at high_cut_hz.
    const double warped = std::tan(std::min(0.5 * turn * settings.high_cut_hz, 0.499 * std::numbers::pi));
    high_gain_ = warped / (1.0 + warped);
    high_pole_ = (1.0 - warped) / (1.0 + warped);
    rail_step_ = average_step(settings.rail_time_constant_s, rate_hz);
    supply_per_rail_current_ = settings.rail_v_per_supply_v / settings.converter_efficiency;
    crosstalk_ = ratio_from_decibels(settings.crosstalk_db);

    const double rail_v = settings.rail_v_per_supply_v * settings.supply_v;
    const double half_v = 0.5 * rail_v;
    second_ = 2.0 * settings.second_order / half_v;
    third_ = 4.0 * settings.third_order / (half_v * half_v);
    highest_shaped_v_ = 2.0 * rail_v;
    crossover_square_ = settings.crossover_v * settings.crossover_v;
    hum_ = {0.0, std::numbers::sqrt2 * settings.hum_v};
    hum_turn_ = {std::cos(turn * settings.hum_hz), std::sin(turn * settings.hum_hz)};

    for (std::size_t c = 0; c < channels_.size(); ++c) {
        channels_[c].sign = c == 1 && settings.second_channel_inverted ? -1.0 : 1.0;
        channels_[c].gain =
            channels_[c].sign * ratio_from_decibels(settings.gain_db + settings.channel_gain_db[c]);
    }
    connect({0.0, 0.0});
}

void AmplifierModel::connect(std::array<double, 2> conductance_s) {
    for (std::size_t c = 0; c < channels_.size(); ++c) {
        channels_[c].conductance_s = conductance_s[c];
        channels_[c].linear_part = 1.0 / (1.0 + conductance_s[c] * settings_.output_resistance_ohm);
        channels_[c].limit_part = 1.0 / (1.0 + conductance_s[c] * settings_.saturation_resistance_ohm);
    }
}

double AmplifierModel::supply_current_a() const {
    const double rails_a =
        settings_.rail_scale[0] * mean_current_a_[0] + settings_.rail_scale[1] * mean_current_a_[1];
    return settings_.idle_current_a + supply_per_rail_current_ * rails_a;
}

std::array<double, 2> AmplifierModel::rails_v() const {
    const double battery_v = settings_.supply_v - settings_.supply_resistance_ohm * supply_current_a();
    const double open_v = settings_.rail_v_per_supply_v * battery_v;
    return {settings_.rail_scale[0] * open_v - settings_.rail_resistance_ohm * mean_current_a_[0],
            settings_.rail_scale[1] * open_v - settings_.rail_resistance_ohm * mean_current_a_[1]};
}

double AmplifierModel::band_limited(Channel& channel, double drive_v) const {
    channel.low_state += low_step_ * (drive_v - channel.low_state);
    const double above = drive_v - channel.low_state;
    channel.high_state = high_pole_ * channel.high_state + high_gain_ * (above + channel.high_before);
    channel.high_before = above;
    return channel.high_state;
}

double AmplifierModel::shaped(double volts) const {
    // Far beyond the rails the terms would turn round; the limit hides what the clamp does.
    const double x = std::clamp(volts, -highest_shaped_v_, highest_shaped_v_);
    const double bent = x * (1.0 + x * (second_ + third_ * x));
    if (crossover_square_ == 0.0) return bent;
    return bent * (1.0 - settings_.crossover_v / std::sqrt(bent * bent + crossover_square_));
}

double AmplifierModel::limited(double volts, const std::array<double, 2>& rails,
                               const Channel& channel) const {
    const double x = volts * channel.linear_part;
    if (x >= 0.0) {
        return below(x, std::max(rails[0] - settings_.saturation_v, 0.0) * channel.limit_part,
                     settings_.softness);
    }
    return -below(-x, std::max(rails[1] - settings_.saturation_v, 0.0) * channel.limit_part,
                  settings_.softness);
}

double AmplifierModel::next_hum() {
    hum_ = {hum_turn_[0] * hum_[0] - hum_turn_[1] * hum_[1], hum_turn_[1] * hum_[0] + hum_turn_[0] * hum_[1]};
    return hum_[0];
}

void AmplifierModel::process(std::array<std::span<const double>, 2> drive_v,
                             std::array<std::span<double>, 2> output_v) {
    const bool hums = settings_.hum_v > 0.0;
    for (std::size_t i = 0; i < output_v[0].size(); ++i) {
        const double hum_v = hums ? next_hum() : 0.0;
        std::array<double, 2> own_v{};
        for (std::size_t c = 0; c < 2; ++c)
            own_v[c] = channels_[c].gain * band_limited(channels_[c], drive_v[c][i]);
        const std::array<double, 2> rails = rails_v();
        std::array<double, 2> drawn_a{};
        for (std::size_t c = 0; c < 2; ++c) {
            const double wanted_v = shaped(own_v[c] + crosstalk_ * own_v[1 - c] + hum_v);
            const double volts = limited(wanted_v, rails, channels_[c]);
            output_v[c][i] = volts;
            drawn_a[volts < 0.0 ? 1 : 0] += std::abs(volts) * channels_[c].conductance_s;
        }
        for (std::size_t r = 0; r < 2; ++r)
            mean_current_a_[r] += rail_step_ * (drawn_a[r] - mean_current_a_[r]);
    }
}

}  // namespace assay::capture
