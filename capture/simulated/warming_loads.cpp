#include "capture/simulated/warming_loads.h"

#include <cmath>

namespace assay::capture {

namespace {
// The mean square over a block needs far fewer points than the amplifier's grid has.
constexpr std::size_t every = 8;
}  // namespace

WarmingLoads::WarmingLoads(const Bench& bench, const std::vector<WiredLoad>& loads)
    : k_per_w_(bench.simulated.load_k_per_w), time_constant_s_(bench.simulated.load_time_constant_s) {
    for (const WiredLoad& wired : loads) {
        const Load& load = bench.loads[wired.load];
        const double ppm = load.tempco_ppm_per_k.value_or(bench.simulated.load_tempco_ppm_per_k);
        loads_.push_back({wired, load.resistance_ohm, 1e-6 * ppm, 0.0});
    }
}

std::array<double, 2> WarmingLoads::conductance_s() const {
    std::array<double, 2> sum{};
    for (const Resistor& load : loads_) {
        const double siemens = 1.0 / load.ohm();
        sum[load.wired.plus] += load.wired.minus ? 2.0 * siemens : siemens;
        if (load.wired.minus) sum[*load.wired.minus] += 2.0 * siemens;
    }
    return sum;
}

void WarmingLoads::warm(std::array<std::span<const double>, 2> output_v, double seconds) {
    double first = 0.0;
    double second = 0.0;
    double product = 0.0;
    for (std::size_t i = 0; i < output_v[0].size(); i += every) {
        first += output_v[0][i] * output_v[0][i];
        second += output_v[1][i] * output_v[1][i];
        product += output_v[0][i] * output_v[1][i];
    }
    const double points = std::ceil(static_cast<double>(output_v[0].size()) / static_cast<double>(every));
    const std::array<double, 2> square{first / points, second / points};
    const double part = -std::expm1(-seconds / time_constant_s_);
    for (Resistor& load : loads_) {
        const double mean_square =
            load.wired.minus ? square[0] + square[1] - 2.0 * product / points : square[load.wired.plus];
        load.rise_k += part * (k_per_w_ * mean_square / load.ohm() - load.rise_k);
    }
}

}  // namespace assay::capture
