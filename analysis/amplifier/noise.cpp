#include "analysis/amplifier/noise.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <functional>

#include "analysis/signal/band_power.h"
#include "analysis/signal/median.h"
#include "analysis/signal/quasi_peak.h"
#include "analysis/signal/weighting.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double stretch_s = 2.0;
constexpr double low_hz = 20.0;
constexpr double high_hz = 20000.0;
constexpr int hum_harmonics = 20;
constexpr double lobe_hz = 1.1;     // to each side: the window's main lobe is 1 Hz
constexpr double wander = 0.0004;   // of the mains, within a recording
constexpr double around_hz = 12.0;  // where a line's neighbours tell the noise under it
constexpr double stands_out = 6.0;  // power of a line over the noise under its lobe
constexpr double mains_tolerance = 0.01;

double weighted_sum(const PowerSpectrum& spectrum, const std::function<double(double)>& gain_db) {
    double sum = 0.0;
    const auto first = static_cast<std::size_t>(std::ceil(low_hz / spectrum.bin_hz - 1e-9));
    for (std::size_t k = first; k < spectrum.bins.size(); ++k) {
        const double frequency_hz = spectrum.bin_hz * static_cast<double>(k);
        if (frequency_hz > high_hz * (1.0 + 1e-12)) break;
        sum += spectrum.bins[k] * power_ratio_from_decibels(gain_db(frequency_hz));
    }
    return sum;
}

double no_weight(double) {
    return 0.0;
}

/// Mean square of a line: what lies in its lobe, less the noise of its neighbours.
struct LinePower {
    double excess = 0.0;
    double noise = 0.0;  // under the lobe
};

LinePower line_power(const PowerSpectrum& spectrum, double frequency_hz) {
    const double half_hz = lobe_hz + wander * frequency_hz;
    std::vector<double> around;
    const auto bin = [&](double hz) {
        return static_cast<std::size_t>(
            std::clamp(std::round(hz / spectrum.bin_hz), 0.0, static_cast<double>(spectrum.bins.size() - 1)));
    };
    double inside = 0.0;
    double count = 0.0;
    for (std::size_t k = bin(frequency_hz - around_hz); k <= bin(frequency_hz + around_hz); ++k) {
        const double off_hz = std::abs(spectrum.bin_hz * static_cast<double>(k) - frequency_hz);
        if (off_hz <= half_hz) {
            inside += spectrum.bins[k];
            count += 1.0;
        } else if (off_hz > 2.0 * half_hz) {
            around.push_back(spectrum.bins[k]);
        }
    }
    // Of an average of many periodograms the median is nearly the mean.
    const double noise = count * median(std::move(around));
    return {inside - noise, noise};
}

/// Frequency of a line from the highest bin and its louder neighbour: exact for a lone line under a Hann
/// window (T. Grandke, IEEE Trans. Instrum. Meas. 32(2), 1983).
double line_frequency_hz(const PowerSpectrum& spectrum, std::size_t best) {
    const double left = spectrum.bins[best - 1];
    const double right = spectrum.bins[best + 1];
    const double ratio = std::sqrt(std::max(left, right) / std::max(spectrum.bins[best], 1e-300));
    const double shift = std::clamp((2.0 * ratio - 1.0) / (1.0 + ratio), -0.5, 0.5);
    return spectrum.bin_hz * (static_cast<double>(best) + (right > left ? shift : -shift));
}

/// The highest bin within a share of a frequency, never the first or the last.
std::size_t highest_bin_near(const PowerSpectrum& spectrum, double frequency_hz, double share) {
    const auto from = static_cast<std::size_t>(frequency_hz * (1.0 - share) / spectrum.bin_hz);
    const auto to = std::min(static_cast<std::size_t>(frequency_hz * (1.0 + share) / spectrum.bin_hz) + 1,
                             spectrum.bins.size() - 2);
    std::size_t best = std::max<std::size_t>(from, 1);
    for (std::size_t k = best; k <= to; ++k) {
        if (spectrum.bins[k] > spectrum.bins[best]) best = k;
    }
    return best;
}

/// The mains frequency of one family from its lines; nothing where none stands out.
struct Family {
    double mains_hz = 0.0;
    int strongest_order = 1;
    double power = 0.0;
    std::vector<NoiseLine> lines{};
};

std::optional<Family> family_of(const PowerSpectrum& spectrum, double nominal_hz) {
    double strongest = 0.0;
    double mains_hz = nominal_hz;
    int strongest_order = 1;
    for (int order = 1; order <= 6; ++order) {
        const double at_hz =
            line_frequency_hz(spectrum, highest_bin_near(spectrum, nominal_hz * order, mains_tolerance));
        const LinePower line = line_power(spectrum, at_hz);
        if (line.excess < stands_out * line.noise || line.excess <= strongest) continue;
        strongest = line.excess;
        mains_hz = at_hz / order;
        strongest_order = order;
    }
    if (strongest <= 0.0) return std::nullopt;
    Family family;
    family.mains_hz = mains_hz;
    family.strongest_order = strongest_order;
    for (int order = 1; order <= hum_harmonics; ++order) {
        const LinePower line = line_power(spectrum, mains_hz * order);
        family.power += line.excess;
        if (line.excess > stands_out * line.noise)
            family.lines.push_back({mains_hz * order, std::sqrt(line.excess)});
    }
    return family;
}

/// The mean over the stretches of what each tells of the strongest line, and by their scatter what it is
/// worth: mains wander, and noise tells too.
void refine_mains(const std::vector<PowerSpectrum>& spectra, const Family& mains, NoiseReading& reading) {
    const double at_hz = mains.mains_hz * mains.strongest_order;
    std::vector<double> told;
    double mean = 0.0;
    for (const PowerSpectrum& spectrum : spectra) {
        const double off_hz = line_frequency_hz(spectrum, highest_bin_near(spectrum, at_hz, 0.004)) - at_hz;
        told.push_back(off_hz);
        mean += off_hz / static_cast<double>(spectra.size());
    }
    double spread = 0.0;
    for (const double off_hz : told) spread += (off_hz - mean) * (off_hz - mean);
    const auto count = static_cast<double>(told.size());
    reading.mains_hz = (at_hz + mean) / mains.strongest_order;
    reading.mains_doubt_hz = std::sqrt(spread / (count * (count - 1.0))) / mains.strongest_order;
}

std::optional<NoiseLine> find_whistle(const PowerSpectrum& spectrum, double mains_hz) {
    constexpr double from_hz = 25.0;
    constexpr double away_hz = 3.0;
    double best_power = 0.0;
    double best_hz = 0.0;
    const auto first = static_cast<std::size_t>(from_hz / spectrum.bin_hz);
    const auto end = std::min(static_cast<std::size_t>(high_hz / spectrum.bin_hz), spectrum.bins.size());
    for (std::size_t k = first; k < end; ++k) {
        const double frequency_hz = spectrum.bin_hz * static_cast<double>(k);
        const double off_hz = mains_hz > 0.0 ? std::abs(std::remainder(frequency_hz, mains_hz)) : away_hz;
        if (off_hz < away_hz || spectrum.bins[k] <= best_power) continue;
        best_power = spectrum.bins[k];
        best_hz = frequency_hz;
    }
    if (!(best_power > 0.0)) return std::nullopt;
    const LinePower line = line_power(spectrum, best_hz);
    if (line.excess < stands_out * line.noise) return std::nullopt;
    return NoiseLine{best_hz, std::sqrt(line.excess)};
}

NoiseValue value_of(const std::vector<double>& powers, double mean_power) {
    const auto count = static_cast<double>(powers.size());
    double mean = 0.0;
    for (const double power : powers) mean += power / count;
    double square = 0.0;
    for (const double power : powers) square += (power - mean) * (power - mean);
    const double volts = std::sqrt(std::max(mean_power, 0.0));
    const double doubt = count > 1.0 ? std::sqrt(square / (count - 1.0) / count) : 0.0;
    return {volts, volts > 0.0 ? doubt / (2.0 * volts) : 0.0};
}

}  // namespace

NoiseReading read_noise(std::span<const double> volts, double rate_hz, double high_pass_hz) {
    NoiseReading reading;
    const auto size = static_cast<std::size_t>(stretch_s * rate_hz);
    const std::size_t hop = size / 2;
    reading.stretch_s = static_cast<double>(hop) / rate_hz;
    double mean = 0.0;
    for (const double value : volts) mean += value / static_cast<double>(volts.size());
    PowerSpectrum average;
    std::vector<double> band;
    std::vector<double> a_weighted;
    std::vector<double> itu_468;
    std::vector<PowerSpectrum> spectra;
    std::vector<double> record(size);
    for (std::size_t first = 0; first + size <= volts.size(); first += hop) {
        for (std::size_t n = 0; n < size; ++n) record[n] = volts[first + n] - mean;
        PowerSpectrum spectrum = power_spectrum(record, rate_hz);
        if (high_pass_hz > 0.0) {
            for (std::size_t k = 1; k < spectrum.bins.size(); ++k) {
                const double part = high_pass_hz / (spectrum.bin_hz * static_cast<double>(k));
                spectrum.bins[k] *= 1.0 + part * part;
            }
        }
        if (average.bins.empty()) {
            average.bins.assign(spectrum.bins.size(), 0.0);
            average.bin_hz = spectrum.bin_hz;
        }
        for (std::size_t k = 0; k < spectrum.bins.size(); ++k) average.bins[k] += spectrum.bins[k];
        band.push_back(weighted_sum(spectrum, no_weight));
        a_weighted.push_back(weighted_sum(spectrum, a_weighting_db));
        itu_468.push_back(weighted_sum(spectrum, itu_468_weighting_db));
        reading.stretch_v.push_back(std::sqrt(band.back()));
        spectrum.bins.resize(std::min(spectrum.bins.size(),
                                      static_cast<std::size_t>(61.0 * hum_harmonics / spectrum.bin_hz) + 64));
        spectra.push_back(std::move(spectrum));
    }
    if (band.empty()) return reading;
    for (double& bin : average.bins) bin /= static_cast<double>(band.size());
    const auto mean_of = [](const std::vector<double>& powers) {
        double sum = 0.0;
        for (const double power : powers) sum += power / static_cast<double>(powers.size());
        return sum;
    };
    reading.band = value_of(band, mean_of(band));
    reading.a_weighted = value_of(a_weighted, mean_of(a_weighted));
    reading.itu_468 = value_of(itu_468, mean_of(itu_468));
    QuasiPeak quasi_peak(rate_hz);
    quasi_peak.feed(volts);
    const QuasiPeakReading read = quasi_peak.finish();
    reading.itu_468_quasi_peak = {read.typical_v, read.doubt_v};
    reading.itu_468_highest_v = read.highest_v;
    LineTracker tracker(rate_hz);
    tracker.feed(volts);
    reading.whine = tracker.finish();

    std::optional<Family> mains;
    for (const double nominal_hz : {50.0, 60.0}) {
        auto family = family_of(average, nominal_hz);
        if (family && (!mains || family->power > mains->power)) mains = std::move(family);
    }
    for (int order = 1; order <= hum_harmonics; ++order)
        reading.hum_detectable_v += stands_out * line_power(average, 50.0 * order).noise / hum_harmonics;
    reading.hum_detectable_v = std::sqrt(reading.hum_detectable_v);
    if (mains) {
        refine_mains(spectra, *mains, reading);
        reading.hum_lines = mains->lines;
        std::vector<double> hum;
        for (const PowerSpectrum& spectrum : spectra) {
            double power = 0.0;
            for (int order = 1; order <= hum_harmonics; ++order)
                power += line_power(spectrum, mains->mains_hz * order).excess;
            hum.push_back(power);
        }
        reading.hum = value_of(hum, mains->power);
    }
    reading.whistle = find_whistle(average, reading.mains_hz.value_or(0.0));
    return reading;
}

}  // namespace assay::analysis
