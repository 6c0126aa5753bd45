// SPDX-License-Identifier: MIT
#pragma once
#include "tests/cli/process.hpp"
#include <catch2/catch.hpp>
#include <memory>
#include <string>
#include <vector>

/// A virtual bench on a port of its own choice.
class VirtualBench {
  public:
    /// power: as the program's --power; "on" is a board that something else feeds.
    explicit VirtualBench(std::vector<std::string> options = {}, const char* power = "on") {
        options.insert(options.begin(), {"--listen", "0", "--power", power});
        process_ = std::make_unique<Process>(VIRTUAL_BENCH_PROGRAM, options);
        const std::string mark = "listening on ";
        REQUIRE(process_->wait_for(mark));
        while (process_->out().find('\n') == std::string::npos) {
            REQUIRE(process_->wait_for("\n"));
        }
        const std::string& out = process_->out();
        const auto at = out.find(mark) + mark.size();
        address_ = out.substr(at, out.find('\n', at) - at);
    }
    [[nodiscard]] const std::string& address() const { return address_; }
    void unplug() { process_->signal(9); }

  private:
    std::unique_ptr<Process> process_;
    std::string address_;
};
