#include "analysis/signal/repeat_lag.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <vector>

namespace assay::analysis {

std::optional<RepeatLag> find_repeat(std::span<const double> stretch, std::span<const double> within) {
    const std::size_t length = stretch.size();
    if (length == 0 || within.size() <= length) return std::nullopt;
    const double energy = std::inner_product(stretch.begin(), stretch.end(), stretch.begin(), 0.0);
    std::vector<double> likeness;
    double own = std::inner_product(within.begin(), within.begin() + static_cast<std::ptrdiff_t>(length),
                                    within.begin(), 0.0);
    for (std::size_t lag = 0; lag + length <= within.size(); ++lag) {
        const double sum = std::inner_product(stretch.begin(), stretch.end(),
                                              within.begin() + static_cast<std::ptrdiff_t>(lag), 0.0);
        const double scale = std::sqrt(energy * std::max(own, 0.0));
        likeness.push_back(scale > 0.0 ? sum / scale : 0.0);
        if (lag + length < within.size())
            own += within[lag + length] * within[lag + length] - within[lag] * within[lag];
    }
    const auto best = std::max_element(likeness.begin(), likeness.end());
    if (!(*best > 0.0)) return std::nullopt;
    const auto at = static_cast<std::size_t>(best - likeness.begin());
    RepeatLag found{static_cast<double>(at), *best};
    if (at > 0 && at + 1 < likeness.size()) {
        const double bend = likeness[at - 1] - 2.0 * likeness[at] + likeness[at + 1];
        if (bend < 0.0) found.frames += 0.5 * (likeness[at - 1] - likeness[at + 1]) / bend;
    }
    return found;
}

}  // namespace assay::analysis
