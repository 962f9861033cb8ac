#include "analysis/signal/fft.h"

#include <algorithm>
#include <kissfft.hh>
#include <map>
#include <memory>
#include <utility>

namespace assay::analysis {

namespace {

using Plan = kissfft<double>;

// A plan carries scratch memory, so each thread has its own.
const Plan& plan_for(std::size_t n, bool inverse) {
    thread_local std::map<std::pair<std::size_t, bool>, std::unique_ptr<Plan>> plans;
    std::unique_ptr<Plan>& plan = plans[{n, inverse}];
    if (!plan) plan = std::make_unique<Plan>(n, inverse);
    return *plan;
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

std::vector<std::complex<double>> transform(std::span<const std::complex<double>> data, bool inverse) {
    std::vector<std::complex<double>> result(data.size());
    plan_for(data.size(), inverse).transform(data.data(), result.data());
    return result;
}

}  // namespace assay::analysis
