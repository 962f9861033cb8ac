// A recording: a handle on a sound file (WAV, RF64, FLAC; 16 and 24-bit, float). It reads spans on
// demand and never holds the whole.
#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "capture/fault.h"

namespace assay::capture {

struct Recording {
    std::filesystem::path path{};
    double rate_hz = 0.0;
    int channels = 0;
    std::int64_t frames = 0;
    std::string format{};   // "wav pcm-24", as a person would say it
    int bits = 0;           // of a sample; 32 for float
    bool floating = false;
    std::vector<std::string> flags{};  // what the device had to say: overflow, underflow

    double duration_s() const { return rate_hz > 0.0 ? static_cast<double>(frames) / rate_hz : 0.0; }
};

/// Opens, checks the header against the file, and closes again.
[[nodiscard]] Result<Recording> open_recording(const std::filesystem::path& path);

/// Reads the named channels (counted from 1), one vector each, over [first, first + count) clamped to
/// what is there.
class RecordingReader {
  public:
    static Result<RecordingReader> open(const Recording& recording);
    RecordingReader(RecordingReader&& other) noexcept;
    RecordingReader& operator=(RecordingReader&& other) noexcept;
    RecordingReader(const RecordingReader&) = delete;
    RecordingReader& operator=(const RecordingReader&) = delete;
    ~RecordingReader();

    [[nodiscard]] Result<std::vector<std::vector<float>>> read(std::span<const int> channels, std::int64_t first,
                                                               std::int64_t count);

  private:
    RecordingReader() = default;
    void* file_ = nullptr;
    int channels_ = 0;
    std::int64_t frames_ = 0;
    std::int64_t position_ = 0;
    std::string name_{};
    std::vector<float> interleaved_{};
};

/// Writes PCM WAV (16 or 24-bit; RF64 where it grows past 4 GiB) or float WAV, block by block, to a
/// temporary name that `finish` renames.
class RecordingWriter {
  public:
    static Result<RecordingWriter> create(const std::filesystem::path& path, double rate_hz, int channels, int bits);
    RecordingWriter(RecordingWriter&& other) noexcept;
    RecordingWriter& operator=(RecordingWriter&& other) noexcept;
    RecordingWriter(const RecordingWriter&) = delete;
    RecordingWriter& operator=(const RecordingWriter&) = delete;
    ~RecordingWriter();

    /// Interleaved samples, full scale ±1.0. Over-range samples are held at full scale.
    [[nodiscard]] Result<void> write(std::span<const float> interleaved);
    [[nodiscard]] Result<void> finish();

  private:
    RecordingWriter() = default;
    void* file_ = nullptr;
    int channels_ = 0;
    int bits_ = 24;
    std::filesystem::path path_{};
    std::filesystem::path temporary_{};
    std::vector<int> scratch_{};
};

}  // namespace assay::capture
