// A recording: a handle on a sound file (WAV, RF64, FLAC, also AIFF and W64; 16 to 32-bit, float). It
// reads spans on demand and never holds the whole. Rates 44.1 to 192 kHz, 1 to 32 channels; lossy and
// 8-bit formats are refused, since what they lost cannot be told from distortion.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
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
    std::string format{};  // "wav pcm-24", as a person would say it
    int bits = 0;          // of a sample; 32 for float, 64 for double
    bool floating = false;
    std::vector<std::string>
        flags{};  // what the device or the file's header had to say: overflow, killed recorder

    double duration_s() const { return rate_hz > 0.0 ? static_cast<double>(frames) / rate_hz : 0.0; }
};

/// Opens, checks the header against the file, and closes again. A file that holds less than its header
/// says is a fault; a header without a length, as a killed recorder leaves it, is a flag.
[[nodiscard]] Result<Recording> open_recording(const std::filesystem::path& path);

/// Reads the named channels (counted from 1), one vector each, over [first, first + count) clamped to
/// what is there. Full scale is ±1.0, exact up to 24 bits. A sample that is not a number is a fault with
/// its second; so is a file that stops before its end.
class RecordingReader {
  public:
    static Result<RecordingReader> open(const Recording& recording);
    RecordingReader(RecordingReader&& other) noexcept;
    RecordingReader& operator=(RecordingReader&& other) noexcept;
    RecordingReader(const RecordingReader&) = delete;
    RecordingReader& operator=(const RecordingReader&) = delete;
    ~RecordingReader();

    [[nodiscard]] Result<std::vector<std::vector<float>>> read(std::span<const int> channels,
                                                               std::int64_t first, std::int64_t count);
    /// The same into vectors that are used again for span after span.
    [[nodiscard]] Result<void> read_into(std::span<const int> channels, std::int64_t first,
                                         std::int64_t count, std::vector<std::vector<float>>& out);

  private:
    RecordingReader() = default;
    void* file_ = nullptr;
    int channels_ = 0;
    std::int64_t frames_ = 0;
    std::int64_t position_ = 0;
    double rate_hz_ = 0.0;
    bool floating_ = false;
    std::string name_{};
    std::vector<float> interleaved_{};
};

struct WriterFormat {
    double rate_hz = 96000.0;
    int channels = 1;
    int bits = 24;  // 16 or 24: PCM; 32: float
    // With a value, 16-bit samples get triangular dither of ±1 last place, the same for the same seed.
    std::optional<std::uint64_t> dither_seed{};
};

/// Writes PCM WAV (16 or 24-bit; RF64 where it grows past 4 GiB) or float WAV, block by block, to a
/// temporary name that `finish` renames; float ends at 4 GiB. Without `finish` nothing is left behind.
class RecordingWriter {
  public:
    static Result<RecordingWriter> create(const std::filesystem::path& path, const WriterFormat& format);
    static Result<RecordingWriter> create(const std::filesystem::path& path, double rate_hz, int channels,
                                          int bits);
    RecordingWriter(RecordingWriter&& other) noexcept;
    RecordingWriter& operator=(RecordingWriter&& other) noexcept;
    RecordingWriter(const RecordingWriter&) = delete;
    RecordingWriter& operator=(const RecordingWriter&) = delete;
    ~RecordingWriter();

    /// Interleaved samples, full scale ±1.0, whole frames. PCM samples over range are held at full scale.
    [[nodiscard]] Result<void> write(std::span<const float> interleaved);
    [[nodiscard]] Result<void> finish();

  private:
    RecordingWriter() = default;
    void discard();
    Result<void> write_block(std::span<const float> interleaved);
    double triangular_dither();

    void* file_ = nullptr;
    WriterFormat format_{};
    std::uint64_t dither_state_ = 0;
    std::int64_t frames_ = 0;
    std::int64_t frames_in_header_ = 0;
    std::filesystem::path path_{};
    std::filesystem::path temporary_{};
    std::vector<int> scratch_{};
};

}  // namespace assay::capture
