// Sound files for the tests of capture/, written by libsndfile directly and not by the code under test.
#pragma once

#include <gtest/gtest.h>
#include <sndfile.h>
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

namespace assay::capture::helpers {

/// A folder of its own for each test, gone afterwards.
class Folder {
  public:
    Folder() {
        std::string pattern = (std::filesystem::temp_directory_path() / "capture-test-XXXXXX").string();
        if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
        path_ = pattern;
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    std::filesystem::path operator/(const std::string& name) const { return path_ / name; }
    const std::filesystem::path& path() const { return path_; }

  private:
    std::filesystem::path path_;
};

struct FileFormat {
    int type = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
    int rate_hz = 48000;
    int channels = 1;
};

/// Interleaved samples, full scale ±1.0.
inline void write_file(const std::filesystem::path& path, const FileFormat& format,
                       const std::vector<double>& samples) {
    SF_INFO info{};
    info.samplerate = format.rate_hz;
    info.channels = format.channels;
    info.format = format.type;
    SNDFILE* file = sf_open(path.string().c_str(), SFM_WRITE, &info);
    ASSERT_NE(file, nullptr) << sf_strerror(nullptr);
    sf_command(file, SFC_SET_CLIPPING, nullptr, SF_TRUE);
    const auto count = static_cast<sf_count_t>(samples.size());
    ASSERT_EQ(sf_write_double(file, samples.data(), count), count);
    ASSERT_EQ(sf_close(file), 0);
}

inline std::string bytes_of(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

inline void write_bytes(const std::filesystem::path& path, const std::string& bytes) {
    std::ofstream(path, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}

/// White noise, the same for the same seed.
inline std::vector<double> noise(std::size_t count, double sigma, unsigned seed = 1) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> distribution(0.0, sigma);
    std::vector<double> samples(count);
    for (double& sample : samples) sample = distribution(engine);
    return samples;
}

inline std::vector<double> sine(std::size_t count, double frequency_hz, double rate_hz, double amplitude) {
    std::vector<double> samples(count);
    for (std::size_t n = 0; n < count; ++n) {
        samples[n] = amplitude * std::sin(2.0 * M_PI * frequency_hz * static_cast<double>(n) / rate_hz);
    }
    return samples;
}

inline std::vector<double> operator+(std::vector<double> a, const std::vector<double>& b) {
    for (std::size_t n = 0; n < a.size(); ++n) a[n] += b[n];
    return a;
}

}  // namespace assay::capture::helpers
