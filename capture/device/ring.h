// A ring of samples between two threads: one writes, one reads, neither waits for the other. No lock, no
// allocation after the construction, so that a sound card's callback may use either end.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <span>
#include <vector>

namespace assay::capture {

class SampleRing {
  public:
    explicit SampleRing(std::size_t capacity) : samples_(capacity) {}

    std::size_t readable() const {
        return written_.load(std::memory_order_acquire) - read_.load(std::memory_order_acquire);
    }
    std::size_t writable() const { return samples_.size() - readable(); }

    /// All of the samples, or none where they do not fit.
    bool write(std::span<const float> from) {
        const std::size_t at = written_.load(std::memory_order_relaxed);
        if (samples_.size() - (at - read_.load(std::memory_order_acquire)) < from.size()) return false;
        const std::size_t first = at % samples_.size();
        const std::size_t head = std::min(from.size(), samples_.size() - first);
        std::copy_n(from.data(), head, samples_.data() + first);
        std::copy_n(from.data() + head, from.size() - head, samples_.data());
        written_.store(at + from.size(), std::memory_order_release);
        return true;
    }

    /// As many samples as are asked for, or none where there are fewer.
    bool read(std::span<float> into) {
        const std::size_t at = read_.load(std::memory_order_relaxed);
        if (written_.load(std::memory_order_acquire) - at < into.size()) return false;
        const std::size_t first = at % samples_.size();
        const std::size_t head = std::min(into.size(), samples_.size() - first);
        std::copy_n(samples_.data() + first, head, into.data());
        std::copy_n(samples_.data(), into.size() - head, into.data() + head);
        read_.store(at + into.size(), std::memory_order_release);
        return true;
    }

  private:
    std::vector<float> samples_;
    std::atomic<std::size_t> written_{0};
    std::atomic<std::size_t> read_{0};
};

}  // namespace assay::capture
