// What is asked of the callback's two sides. They allocate nothing: every operator new of this program is
// counted. They call nothing of the system: the kernel itself ends a process that does (seccomp(2)).
#include <gtest/gtest.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <csignal>
#include <cstddef>
#include <cstdlib>
#include <functional>
#include <new>
#include <vector>

#include "capture/device/stream_side.h"

namespace {
thread_local int allocations = 0;
}  // namespace

// Not inlined: where only one of a pair is, g++ takes them for a mismatch of new and free.
[[gnu::noinline]] void* operator new(std::size_t bytes) {
    ++allocations;
    if (void* memory = std::malloc(bytes)) return memory;
    throw std::bad_alloc();
}

// The library's stable_sort asks this way and gives back the plain way.
[[gnu::noinline]] void* operator new(std::size_t bytes, const std::nothrow_t&) noexcept {
    ++allocations;
    return std::malloc(bytes);
}

[[gnu::noinline]] void operator delete(void* memory) noexcept {
    std::free(memory);
}

[[gnu::noinline]] void operator delete(void* memory, const std::nothrow_t&) noexcept {
    std::free(memory);
}

[[gnu::noinline]] void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}

namespace assay::capture {
namespace {

TEST(Callback, AllocatesNothing) {
    constexpr std::size_t frames = 64;
    PlaySideOfStream play(8, 8, 10000, 100);
    RecordSideOfStream record(8, 8, 10000, 1024);
    std::vector<float> block(8 * frames, 0.25F);
    for (int k = 0; k < 100; ++k) ASSERT_TRUE(play.ring().write(block));
    const int before = allocations;
    { const std::vector<float> counted(10); }
    ASSERT_GT(allocations, before);  // the counter works
    const int start = allocations;
    for (int k = 0; k < 200; ++k) {
        if (k == 60) play.fade_out();
        play.fill(block.data(), frames);
        record.take(block.data(), frames, 0.01 * k);
    }
    EXPECT_EQ(allocations, start);
    EXPECT_GT(record.lost(), 0);  // a full ring does not make it allocate either
}

/// How a child ends that may do nothing but end from here on; its wait status.
int ended_where_only_exit_is_allowed(const std::function<void()>& work) {
    const pid_t child = ::fork();
    if (child == 0) {
        std::array<sock_filter, 4> steps{{
            BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(seccomp_data, nr)),
            BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, SYS_exit, 0, 1),
            BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW),
            BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_KILL_PROCESS),
        }};
        const sock_fprog filter{static_cast<unsigned short>(steps.size()), steps.data()};
        if (::prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0 ||
            ::prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &filter) != 0)
            ::syscall(SYS_exit, 2);
        work();
        ::syscall(SYS_exit, 0);
    }
    int status = -1;
    ::waitpid(child, &status, 0);
    return status;
}

TEST(Callback, CallsNothingOfTheSystem) {
    constexpr std::size_t frames = 64;
    PlaySideOfStream play(8, 8, 10000, 100);
    RecordSideOfStream record(8, 8, 10000, 1024);
    std::vector<float> block(8 * frames, 0.25F);
    for (int k = 0; k < 100; ++k) ASSERT_TRUE(play.ring().write(block));
    const int caught = ended_where_only_exit_is_allowed([] { ::syscall(SYS_getpid); });
    ASSERT_TRUE(WIFSIGNALED(caught) && WTERMSIG(caught) == SIGSYS) << caught;  // the kernel looks
    const int quiet = ended_where_only_exit_is_allowed([&] {
        for (int k = 0; k < 200; ++k) {
            if (k == 60) play.fade_out();
            play.fill(block.data(), frames);
            record.take(block.data(), frames, 0.01 * k);
        }
    });
    EXPECT_TRUE(WIFEXITED(quiet) && WEXITSTATUS(quiet) == 0) << quiet;
}

}  // namespace
}  // namespace assay::capture
