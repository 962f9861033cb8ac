#include "analysis/signal/fft.h"

#include <algorithm>
#include <kissfft.hh>
#include <memory>
#include <numbers>

namespace assay::analysis {

namespace {

using Plan = kissfft<double>;

struct KeptPlan {
    std::size_t n = 0;
    bool inverse = false;
    std::unique_ptr<Plan> plan{};
};

// A plan carries scratch memory, so each thread has its own. Sixteen bytes a point: those of long records
// would fill the memory if they were all kept.
constexpr std::size_t most_points_kept = std::size_t{1} << 20;

/// The plan, used last: it stands at the end until the next call.
const Plan& plan_for(std::size_t n, bool inverse) {
    thread_local std::vector<KeptPlan> plans;
    const auto found = std::find_if(plans.begin(), plans.end(), [&](const KeptPlan& kept) {
        return kept.n == n && kept.inverse == inverse;
    });
    if (found != plans.end()) {
        std::rotate(found, found + 1, plans.end());
        return *plans.back().plan;
    }
    std::size_t points = n;
    for (const KeptPlan& kept : plans) points += kept.n;
    while (!plans.empty() && points > most_points_kept) {
        points -= plans.front().n;
        plans.erase(plans.begin());
    }
    plans.push_back({n, inverse, std::make_unique<Plan>(n, inverse)});
    return *plans.back().plan;
}

}  // namespace

std::size_t good_fft_length(std::size_t n) {
    for (std::size_t length = std::max<std::size_t>(n + n % 2, 2);; length += 2) {
        std::size_t rest = length;
        for (const std::size_t factor : {2U, 3U, 5U}) {
            while (rest % factor == 0) rest /= factor;
        }
        if (rest == 1) return length;
    }
}

std::vector<std::complex<double>> real_spectrum(std::span<const double> signal, std::size_t n) {
    std::vector<double> padded(n, 0.0);
    std::copy_n(signal.begin(), std::min(n, signal.size()), padded.begin());
    std::vector<std::complex<double>> bins(n / 2 + 1);
    plan_for(n / 2, false).transform_real(padded.data(), bins.data());
    bins[n / 2] = bins[0].imag();
    bins[0] = bins[0].real();
    return bins;
}

std::vector<double> real_signal(std::span<const std::complex<double>> bins, std::size_t n) {
    // The even samples as real parts and the odd ones as imaginary parts of half as many complex ones (the
    // textbook's real transform, backwards).
    const std::size_t half = n / 2;
    std::vector<std::complex<double>> packed(half);
    for (std::size_t k = 0; k < half; ++k) {
        const std::complex<double> mirrored = std::conj(bins[half - k]);
        const double turn = 2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(n);
        const std::complex<double> odd = (bins[k] - mirrored) * std::polar(1.0, turn);
        packed[k] = bins[k] + mirrored + std::complex<double>(-odd.imag(), odd.real());
    }
    const std::vector<std::complex<double>> pairs = transform(packed, true);
    packed = {};
    std::vector<double> signal(n);
    for (std::size_t k = 0; k < half; ++k) {
        signal[2 * k] = pairs[k].real();
        signal[2 * k + 1] = pairs[k].imag();
    }
    return signal;
}

std::vector<std::complex<double>> transform(std::span<const std::complex<double>> data, bool inverse) {
    std::vector<std::complex<double>> result(data.size());
    plan_for(data.size(), inverse).transform(data.data(), result.data());
    return result;
}

}  // namespace assay::analysis
