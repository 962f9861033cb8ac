#include "cli/measures/recording/repeat_scatter.h"

#include <cmath>

namespace assay::cli {

double beyond_noise(double scatter, double noise, std::size_t repeats) {
    if (repeats < 2) return 0.0;
    if (!(noise > 0.0)) return scatter;
    const double part = 2.0 / (9.0 * static_cast<double>(repeats - 1));
    constexpr double normal_95 = 1.6449;
    const double often = std::pow(1.0 - part + normal_95 * std::sqrt(part), 3.0);
    if (scatter * scatter < often * noise * noise) return 0.0;
    return std::sqrt(scatter * scatter - noise * noise);
}

}  // namespace assay::cli
