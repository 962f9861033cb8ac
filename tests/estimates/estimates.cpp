// Many trials of one estimator in one process, for tests/reference/cramer_rao.py: records of doubles come in
// by standard input, each trial's numbers leave as doubles by standard output. Nothing is made or judged
// here.
//
//   estimates sine SAMPLES CYCLES_A_SAMPLE HARMONICS    per record: cycles a sample, then each harmonic's
//   real
//                                                       and imaginary part at the record's centre
//   estimates ratio SAMPLES CYCLES_A_SAMPLE...          per pair of records (generator, driver): each line's
//   ratio
//                                                       by parts
#include <complex>
#include <cstdio>
#include <cstdlib>
#include <string_view>
#include <vector>

#include "analysis/driver/line_transfer.h"
#include "analysis/signal/harmonic_fit.h"

namespace {

bool read_record(std::vector<double>& record) {
    return std::fread(record.data(), sizeof(double), record.size(), stdin) == record.size();
}

void put(const std::vector<double>& numbers) {
    if (std::fwrite(numbers.data(), sizeof(double), numbers.size(), stdout) != numbers.size()) std::abort();
}

void add(std::vector<double>& numbers, std::complex<double> value) {
    numbers.push_back(value.real());
    numbers.push_back(value.imag());
}

}  // namespace

int main(int count, char** words) {
    if (count < 4) return 2;
    const std::string_view what = words[1];
    const auto samples = static_cast<std::size_t>(std::atol(words[2]));
    std::vector<double> record(samples);
    if (what == "sine") {
        if (count != 5) return 2;
        const double guess = std::atof(words[3]);
        const int harmonics = std::atoi(words[4]);
        while (read_record(record)) {
            const auto fit = assay::analysis::fit_harmonics(record, 1.0, guess, {.harmonics = harmonics});
            std::vector<double> numbers{fit.frequency_hz};
            for (const std::complex<double> phasor : fit.phasors) add(numbers, phasor);
            put(numbers);
        }
        return 0;
    }
    if (what != "ratio") return 2;
    std::vector<double> lines;
    for (int i = 3; i < count; ++i) lines.push_back(std::atof(words[i]));
    std::vector<double> driver(samples);
    while (read_record(record) && read_record(driver)) {
        std::vector<double> numbers;
        const std::vector<float> generator_samples(record.begin(), record.end());
        const std::vector<float> driver_samples(driver.begin(), driver.end());
        for (const auto& line :
             assay::analysis::transfer_of_lines({generator_samples, 1.0}, {driver_samples, 1.0}, lines, 1.0)
                 .lines)
            add(numbers, line.ratio);
        put(numbers);
    }
    return 0;
}
