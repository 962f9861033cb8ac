#include "analysis/signal/fft.h"

#include <algorithm>
#include <array>
#include <kissfft.hh>
#include <memory>

#include "analysis/signal/lane_fft.h"

namespace assay::analysis {

namespace {

using Complex = std::complex<double>;

/// Plans of one length, each made when it is first wanted.
struct KeptPlan {
    std::size_t n = 0;
    std::unique_ptr<LaneFft> lanes{};  // both ways
    std::array<std::unique_ptr<kissfft<double>>, 2>
        plain{};                     // lengths that lanes do not do; forward, inverse
    std::unique_ptr<Turns> turns{};  // of twice the length, for real signals
};

// Plans carry scratch memory, so each thread has its own. Those of long records would fill the memory if they
// were all kept.
constexpr std::size_t most_points_kept = std::size_t{1} << 20;

/// The plan, used last: it stands at the end until the next call.
KeptPlan& plan_for(std::size_t n) {
    thread_local std::vector<KeptPlan> plans;
    const auto found =
        std::find_if(plans.begin(), plans.end(), [&](const KeptPlan& kept) { return kept.n == n; });
    if (found != plans.end()) {
        std::rotate(found, found + 1, plans.end());
        return plans.back();
    }
    std::size_t points = n;
    for (const KeptPlan& kept : plans) points += kept.n;
    while (!plans.empty() && points > most_points_kept) {
        points -= plans.front().n;
        plans.erase(plans.begin());
    }
    plans.push_back({n});
    if (LaneFft::can(n)) plans.back().lanes = std::make_unique<LaneFft>(n);
    return plans.back();
}

void transform_into(std::span<const Complex> data, std::span<Complex> result, bool inverse) {
    KeptPlan& kept = plan_for(data.size());
    if (kept.lanes) {
        kept.lanes->transform(data, result, inverse);
        return;
    }
    auto& plan = kept.plain[inverse ? 1 : 0];
    if (!plan) plan = std::make_unique<kissfft<double>>(data.size(), inverse);
    plan->transform(data.data(), result.data());
}

void transform_in_place(std::vector<Complex>& data, bool inverse) {
    KeptPlan& kept = plan_for(data.size());
    if (kept.lanes) {
        kept.lanes->transform(data, data, inverse);
        return;
    }
    const std::vector<Complex> copy(data);
    transform_into(copy, data, inverse);
}

/// e^(-2 pi i k / n) of a real signal's n.
const Turns& turns_for(std::size_t n) {
    KeptPlan& kept = plan_for(n / 2);
    if (!kept.turns) kept.turns = std::make_unique<Turns>(n);
    return *kept.turns;
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

// A real signal's even samples are real parts and its odd ones imaginary parts of half as many complex ones
// (the textbook's real transform).

std::vector<std::complex<double>> pairs_for(std::size_t n) {
    std::vector<Complex> pairs;
    pairs.reserve(n / 2 + 1);
    pairs.resize(n / 2);
    return pairs;
}

std::vector<std::complex<double>> real_spectrum(std::span<const double> signal, std::size_t n) {
    std::vector<Complex> pairs = pairs_for(n);
    const std::size_t given = std::min(n, signal.size());
    for (std::size_t k = 0; k < given / 2; ++k) pairs[k] = {signal[2 * k], signal[2 * k + 1]};
    if (given % 2 == 1) pairs[given / 2] = signal[given - 1];
    return spectrum_of_pairs(std::move(pairs));
}

std::vector<std::complex<double>> spectrum_of_pairs(std::vector<std::complex<double>> pairs) {
    const std::size_t half = pairs.size();
    std::vector<Complex>& bins = pairs;
    transform_in_place(bins, false);
    const Turns& turns = turns_for(2 * half);
    bins.push_back(bins[0].real() - bins[0].imag());
    bins[0] = bins[0].real() + bins[0].imag();
    for (std::size_t k = 1; k <= half - k; ++k) {
        const Complex a = bins[k];
        const Complex b = std::conj(bins[half - k]);
        const Complex even = 0.5 * (a + b);
        const Complex off = 0.5 * (a - b);
        const Complex turn = turns.at(k);
        // -i times the odd samples' spectrum, turned to its place.
        const Complex odd{off.real() * turn.imag() + off.imag() * turn.real(),
                          off.imag() * turn.imag() - off.real() * turn.real()};
        bins[k] = even + odd;
        bins[half - k] = std::conj(even - odd);
    }
    return pairs;
}

std::vector<double> real_signal(std::vector<std::complex<double>> bins) {
    const std::size_t half = bins.size() - 1;
    const Turns& turns = turns_for(2 * half);
    const auto packed = [&turns](const Complex& bin, const Complex& mirror_bin, std::size_t k) {
        const Complex mirrored = std::conj(mirror_bin);
        const Complex off = bin - mirrored;
        const Complex turn = turns.at(k);  // the other way round
        const Complex odd{off.real() * turn.real() + off.imag() * turn.imag(),
                          off.imag() * turn.real() - off.real() * turn.imag()};
        return bin + mirrored + Complex(-odd.imag(), odd.real());
    };
    bins[0] = packed(bins[0], bins[half], 0);
    for (std::size_t k = 1; k <= half - k; ++k) {
        const Complex low = bins[k];
        const Complex high = bins[half - k];
        bins[k] = packed(low, high, k);
        bins[half - k] = packed(high, low, half - k);
    }
    bins.pop_back();
    transform_in_place(bins, true);
    std::vector<double> signal(2 * half);
    for (std::size_t k = 0; k < half; ++k) {
        signal[2 * k] = bins[k].real();
        signal[2 * k + 1] = bins[k].imag();
    }
    return signal;
}

std::vector<std::complex<double>> transform(std::span<const std::complex<double>> data, bool inverse) {
    std::vector<std::complex<double>> result(data.size());
    transform_into(data, result, inverse);
    return result;
}

}  // namespace assay::analysis
